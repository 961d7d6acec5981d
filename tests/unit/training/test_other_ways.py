"""Intervals are widened by what ways of moving do that a calibration has not seen."""

from __future__ import annotations

import numpy as np
import pytest

from models.contract.vocabulary import Handedness, RepetitionKind, View
from models.training.calibration import COVERAGE, _even_sd, calibrate, widened
from models.training.other_ways import FEWEST_FILMS, FEWEST_VALUES, generator_of, widening
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
    assert widening(alike, calibrate, COVERAGE).get(NAME, 0.0) < 0.6


def test_ways_of_moving_that_err_differently_are_allowed_for() -> None:
    apart = {"one": films(-2.0, 200, 1), "two": films(2.0, 200, 2)}
    terms = widening(apart, calibrate, COVERAGE)
    assert 1.0 < terms[NAME] < 4.0
    ((bias, sd, *_),) = calibrate(apart["one"]).values()
    ((_, wide, *_),) = widened(calibrate(apart["one"]), terms).values()
    assert wide == pytest.approx(np.hypot(sd, terms[NAME]), rel=0.01)
    away = np.abs([e.error - bias for film in apart["two"] for e in film.metrics if e.error])
    assert np.mean(away <= 1.96 * np.hypot(sd, 0.05)) < 0.6
    assert np.mean(away <= 1.96 * np.hypot(wide, 0.05)) >= 0.9


@pytest.mark.parametrize("count", [FEWEST_FILMS - 1, FEWEST_FILMS])
def test_a_generator_with_few_films_is_not_left_out(count: int) -> None:
    given = {"one": films(-3.0, 100, 1), "two": films(3.0, count, 2)}
    assert bool(widening(given, calibrate, COVERAGE)) is (count >= FEWEST_FILMS)


def test_few_values_widen_nothing() -> None:
    few = (FEWEST_VALUES - 1) // 2
    assert not widening({"one": films(-3.0, few, 1), "two": films(3.0, few, 2)}, calibrate, 0.955)


def test_errors_are_as_large_as_said_though_some_films_say_little_of_themselves() -> None:
    drawn = np.random.default_rng(5)
    spread = np.where(np.arange(400) % 4 == 0, 20.0, 0.5)
    away = drawn.standard_normal(400) * np.where(spread > 1.0, 3.0, 4.0)
    assert np.mean(away**2 - spread**2) < 0.0  # which alone would add nothing
    assert _even_sd(away, spread) > 2.5
    assert _even_sd(away, np.full(400, 9.0)) == 0.0


def test_a_film_s_file_tells_what_drew_it() -> None:
    assert generator_of("moves_report-8801-3") == "force_driven"
    assert generator_of("000") == generator_of("club-1-x") == ""
