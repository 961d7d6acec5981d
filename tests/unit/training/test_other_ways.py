"""Intervals are widened by what ways of moving do that a calibration has not seen."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from models.contract.vocabulary import Handedness, RepetitionKind, View
from models.training.calibration import COVERAGE, calibrate, widened
from models.training.other_ways import FEWEST_FILMS, WIDEST, generator_of, widening
from workers.engine.accuracy import ClipErrors, MetricError

NAME = "front_knee_flexion@contact"


def films(offset: float, count: int, seed: int) -> list[ClipErrors]:
    """Films of one value each, off by chance of one degree and an offset, stated to 0.1 degree."""
    drawn = np.random.default_rng(seed)
    found = []
    for number in range(count):
        true = float(drawn.uniform(20.0, 80.0))
        value = true + offset + float(drawn.standard_normal())
        error = MetricError(
            f"{seed}-{number}", NAME, View.SIDE, 60.0, true, value, value - 0.1, value + 0.1, "body"
        )
        found.append(
            ClipErrors(
                *(f"{seed}-{number}", 60.0, View.SIDE, View.SIDE, 0.0),
                *(Handedness.RIGHT, Handedness.RIGHT, 1, 1),
                *((RepetitionKind.SERVE,), (RepetitionKind.SERVE,), (), (error,)),
            )
        )
    return found


def test_ways_of_moving_that_err_alike_need_little() -> None:
    alike = {"one": films(0.0, 200, 1), "two": films(0.0, 200, 2)}
    assert 1.0 <= widening(alike, calibrate, COVERAGE) < 1.25


def test_ways_of_moving_that_err_differently_are_allowed_for() -> None:
    apart = {"one": films(-2.0, 200, 1), "two": films(2.0, 200, 2)}
    factor = widening(apart, calibrate, COVERAGE)
    assert 1.6 < factor < WIDEST
    ((_, sd, *_),) = calibrate(apart["one"]).values()
    ((bias, wide, *_),) = widened(calibrate(apart["one"]), factor).values()
    assert wide == pytest.approx(factor * sd, rel=0.01)
    away = np.abs([e.error - bias for film in apart["two"] for e in film.metrics if e.error])
    assert np.mean(away <= 1.96 * np.hypot(sd, 0.05)) < 0.6
    assert np.mean(away <= 1.96 * np.hypot(wide, 0.05)) >= 0.9


@pytest.mark.parametrize("count", [FEWEST_FILMS - 1, FEWEST_FILMS])
def test_a_generator_with_few_films_is_not_left_out(count: int) -> None:
    given = {"one": films(-3.0, 100, 1), "two": films(3.0, count, 2)}
    assert (widening(given, calibrate, COVERAGE) > 1.0) is (count >= FEWEST_FILMS)


def test_a_film_s_file_tells_what_drew_it() -> None:
    assert generator_of(Path("moves_report-8801-3.pickle")) == "force_driven"
    assert generator_of(Path("000.pickle")) == generator_of(Path("club-1-x.pickle")) == ""
