"""Errors put into the engine turn the guard red."""

from __future__ import annotations

import pytest

from models.training.guard import measured
from models.training.guard.checks import read_limits
from models.training.guard.mutations import MUTATIONS, NAMED, remembered_bodies, try_mutation
from workers.engine import engine, measure

pytestmark = pytest.mark.timeout(900)


def test_each_named_error_is_noticed() -> None:
    """All in one test, so that bodies are fitted once and not in every process of the run."""
    limits = read_limits()
    with remembered_bodies():
        missed = [name for name in NAMED if not try_mutation(name, limits, quick=True).failed]
    assert not missed


def test_there_are_more_errors_than_the_named_ones() -> None:
    assert set(NAMED) < set(MUTATIONS)


def test_every_error_can_be_put_in_and_is_taken_out_again() -> None:
    before = vars(engine) | vars(measure) | {"load": measured.load}
    for put_in in MUTATIONS.values():
        with put_in():
            pass
    assert vars(engine) | vars(measure) | {"load": measured.load} == before
