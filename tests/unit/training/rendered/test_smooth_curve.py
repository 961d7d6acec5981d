from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.training.rendered.smooth_curve import SmoothCurve

KNOTS = st.lists(st.tuples(st.floats(0.05, 2.0), st.floats(-180.0, 180.0)), min_size=2, max_size=9)


def curve(knots):
    times = np.cumsum([gap for gap, _ in knots])
    return SmoothCurve(times, np.array([value for _, value in knots]))


@settings(max_examples=60, deadline=None)
@given(KNOTS)
def test_passes_through_its_knots_and_rests_outside(knots):
    made = curve(knots)
    assert made(made.times) == pytest.approx(made.values, abs=1e-9)
    outside = made(np.array([made.times[0] - 1.0, made.times[-1] + 1.0]))
    assert outside == pytest.approx([made.values[0], made.values[-1]])


@settings(max_examples=60, deadline=None)
@given(KNOTS)
def test_slope_and_curvature_are_continuous_at_the_knots(knots):
    made = curve(knots)
    h = 1e-4
    for t in made.times:
        before, at, after = (made(t + h * np.array(k)) for k in ([-2, -1], [0], [1, 2]))
        size = 1.0 + np.abs(made.values).max()
        left, right = (at[0] - before[1]) / h, (after[0] - at[0]) / h
        bend_left = (at[0] - 2 * before[1] + before[0]) / h**2
        bend_right = (after[1] - 2 * after[0] + at[0]) / h**2
        # a jump in the third derivative alone moves these by its size times h
        assert right - left == pytest.approx(0.0, abs=size * 2e4 * h)
        assert bend_right - bend_left == pytest.approx(0.0, abs=size * 4e6 * h)


def test_a_monotone_run_stays_close_to_its_knots():
    made = SmoothCurve(np.array([0.0, 1.0, 1.1, 2.0]), np.array([0.0, 0.0, 90.0, 90.0]))
    values = made(np.linspace(0, 2, 400))
    assert values.min() > -3.0
    assert values.max() < 93.0


def test_a_still_knot_has_no_slope():
    made = SmoothCurve(np.array([0.0, 1.0, 2.0]), np.array([0.0, 10.0, 30.0]), still=[1])
    assert (made(1.0 + 1e-4) - made(1.0 - 1e-4)) / 2e-4 == pytest.approx(0.0, abs=1e-2)


def test_knots_out_of_order_are_refused():
    with pytest.raises(ValueError, match="increasing"):
        SmoothCurve(np.array([0.0, 0.0]), np.array([1.0, 2.0]))
