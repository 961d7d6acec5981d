from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.contract.costs import DECAY, MeasuredCosts, Step, StepCost
from workers.pipeline.time_left import TimeLeft

ONE_RUN = {
    Step.FIRST_LOOK: StepCost(seconds=6.0, units=60.0, film_s=60.0),
    Step.CLOSE_LOOK: StepCost(seconds=24.0, units=600.0, film_s=60.0),
    Step.MEASURE: StepCost(seconds=3.0, units=3.0, film_s=60.0),
    Step.DRAW: StepCost(seconds=1.5, units=3.0, film_s=60.0),
    Step.STORE: StepCost(seconds=0.5, units=1.0, film_s=60.0),
}


class Clock:
    def __init__(self) -> None:
        self.now = 100.0

    def __call__(self) -> float:
        return self.now


def test_nothing_is_said_before_anything_is_known() -> None:
    left = TimeLeft()
    assert left.seconds is None
    left.begin(Step.FIRST_LOOK)
    left.film(60.0, annotated=False)
    left.found(600.0, 3)
    assert left.seconds is None


def test_a_film_half_as_long_takes_half_as_long() -> None:
    clock = Clock()
    left = TimeLeft(MeasuredCosts().with_run(ONE_RUN), clock)
    left.begin(Step.FIRST_LOOK)
    left.film(30.0, annotated=False)
    # By hand: 3 + 12 + 1.5 + 0.75 s by the length of the film, and 0.5 s for storing.
    assert left.seconds == pytest.approx(17.75)
    clock.now += 2.0
    assert left.seconds == pytest.approx(15.75)


def test_what_the_first_look_found_counts_from_then_on() -> None:
    clock = Clock()
    left = TimeLeft(MeasuredCosts().with_run(ONE_RUN), clock)
    left.begin(Step.FIRST_LOOK)
    left.film(30.0, annotated=False)
    left.found(100.0, 1)
    left.begin(Step.CLOSE_LOOK)
    # By hand: 100 frames at 40 ms, one serve at 1 + 0.5 s, storing 0.5 s.
    assert left.seconds == pytest.approx(4.0 + 1.5 + 0.5)
    for _ in range(50):
        left.one_more()
    clock.now += 5.0  # half of it took 5 s here, so the other half will
    assert left.seconds == pytest.approx(5.0 + 1.5 + 0.5)


def test_an_annotated_film_counts_only_where_it_is_made() -> None:
    costs = MeasuredCosts().with_run(
        {**ONE_RUN, Step.FILM: StepCost(seconds=9.0, units=600.0, film_s=60.0)}
    )
    plain, annotated = TimeLeft(costs, Clock()), TimeLeft(costs, Clock())
    for left, wanted in ((plain, False), (annotated, True)):
        left.begin(Step.FIRST_LOOK)
        left.film(60.0, annotated=wanted)
    assert plain.seconds is not None
    assert annotated.seconds == pytest.approx(plain.seconds + 9.0)


def test_a_run_becomes_costs() -> None:
    clock = Clock()
    left = TimeLeft(None, clock)
    left.begin(Step.FIRST_LOOK)
    left.film(10.0, annotated=False)
    clock.now += 2.0
    left.found(50.0, 1)
    left.begin(Step.CLOSE_LOOK)
    clock.now += 5.0
    left.end()
    assert left.spent == {
        Step.FIRST_LOOK: StepCost(seconds=2.0, units=10.0, film_s=10.0),
        Step.CLOSE_LOOK: StepCost(seconds=5.0, units=50.0, film_s=10.0),
    }


def test_older_runs_fade() -> None:
    step = Step.MEASURE
    slow = {step: StepCost(seconds=10.0, units=1.0, film_s=1.0)}
    fast = {step: StepCost(seconds=1.0, units=1.0, film_s=1.0)}
    costs = MeasuredCosts().with_run(slow).with_run(fast)
    assert costs.expected_s(step, 1.0, 1.0) == pytest.approx((DECAY * 10 + 1) / (DECAY + 1))
    for _ in range(50):
        costs = costs.with_run(fast)
    assert costs.expected_s(step, 1.0, 1.0) == pytest.approx(1.0, abs=0.05)


@given(st.lists(st.tuples(st.floats(0, 1e4), st.floats(0, 1e4), st.floats(0, 1e4)), min_size=1))
def test_expectations_are_never_negative_nor_undefined(
    runs: list[tuple[float, float, float]],
) -> None:
    costs = MeasuredCosts()
    for seconds, units, film_s in runs:
        costs = costs.with_run({Step.DRAW: StepCost(seconds=seconds, units=units, film_s=film_s)})
    for units_now in (None, 0.0, 3.0):
        expected = costs.expected_s(Step.DRAW, 30.0, units_now)
        assert expected is not None
        assert expected >= 0.0
