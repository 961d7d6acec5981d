"""How often the networks look: every frame about the hit, evenly and seldom elsewhere."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from workers.pose.budget import EARLY, ZONES, Budget

HIT = (5.0, 5.1)
SLOWEST_HZ = ZONES[-1].rate_hz


def looks(times: np.ndarray, fast: list[tuple[float, float]] | None) -> np.ndarray:
    """Which frames are looked at, shape (T,)."""
    budget = Budget(fast)
    return np.array([budget.looks(float(time_s)) for time_s in times])


def test_without_a_fast_stretch_given_every_frame_is_looked_at() -> None:
    assert looks(np.arange(100) / 240, None).all()


@pytest.mark.parametrize("rate", [24, 25, 29.97, 30, 50, 60, 120, 240])
def test_every_frame_about_the_hit_is_looked_at(rate: float) -> None:
    times = np.arange(int(10 * rate)) / rate
    near = (times >= HIT[0] - ZONES[0].before_s) & (times <= HIT[1] + ZONES[0].after_s)
    assert looks(times, [HIT])[near].all()


@pytest.mark.parametrize("rate", [24, 25, 29.97, 30, 50, 60, 120, 240])
@pytest.mark.parametrize("number", range(1, len(ZONES)))
def test_rates_of_the_zones_are_those_stated(rate: float, number: int) -> None:
    times = np.arange(int(10 * rate)) / rate
    seen = looks(times, [HIT])
    stated = ZONES[number].rate_hz
    first = HIT[0] - min(ZONES[number].before_s, 5.0)
    inside = (times >= first) & (times < HIT[0] - ZONES[number - 1].before_s)
    found = seen[inside].sum()
    assert found <= stated / (1 - EARLY) * inside.sum() / rate + 1
    assert found >= min(rate, stated) / 2 * inside.sum() / rate - 1


@pytest.mark.parametrize("rate", [24.0, 29.97, 30.0, 30.1])
def test_a_film_at_the_stated_rate_keeps_every_frame_though_intervals_waver(rate: float) -> None:
    """Intervals of a telephone's film waver; nothing is fast, 30 looks a second are allowed."""
    waver = np.random.default_rng(0).uniform(-0.2, 0.2, 300)
    times = (np.arange(300) + waver) / rate
    assert looks(times, []).all()


@given(
    st.lists(st.floats(0.002, 0.2), min_size=5, max_size=200),
    st.lists(st.tuples(st.floats(0, 10), st.floats(0, 0.5)), max_size=3),
)
def test_no_gap_is_longer_than_an_interval_and_a_frame(
    steps: list[float], spans: list[tuple[float, float]]
) -> None:
    times = np.cumsum(steps)
    seen = looks(times, [(start, start + length) for start, length in spans])
    assert seen[0]
    gaps = np.diff(times[seen], append=times[-1])
    assert gaps.max() <= 1 / SLOWEST_HZ + max(steps) + 1e-9
