"""Errors put into the engine turn the guard red."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from models.training.guard import measured
from models.training.guard.checks import read_limits
from models.training.guard.mutations import MUTATIONS, NAMED, remembered_bodies, try_mutation
from workers.engine import engine, measure

pytestmark = pytest.mark.timeout(900)


@pytest.fixture(scope="module", autouse=True)
def _bodies_once() -> Iterator[None]:
    with remembered_bodies():
        yield


@pytest.mark.parametrize("name", NAMED)
def test_a_named_error_is_noticed(name: str) -> None:
    assert try_mutation(name, read_limits(), quick=True).failed


def test_there_are_more_errors_than_the_named_ones() -> None:
    assert set(NAMED) < set(MUTATIONS)


def test_every_error_can_be_put_in_and_is_taken_out_again() -> None:
    before = vars(engine) | vars(measure) | {"load": measured.load}
    for put_in in MUTATIONS.values():
        with put_in():
            pass
    assert vars(engine) | vars(measure) | {"load": measured.load} == before
