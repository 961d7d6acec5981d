"""How often the networks look: every frame about the hit, evenly and seldom elsewhere."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from workers.pose.budget import EARLY, ZONES, Budget

HIT = (5.0, 5.1)


def looks(times: np.ndarray, fast: list[tuple[float, float]] | None) -> np.ndarray:
    """Which networks look at each frame, shape (T, 2)."""
    budget = Budget(fast)
    return np.array([budget.at(float(time_s)) for time_s in times])


def test_without_a_fast_stretch_given_both_networks_look_at_every_frame() -> None:
    assert looks(np.arange(100) / 240, None).all()


@pytest.mark.parametrize("rate", [24, 25, 29.97, 30, 50, 60, 120, 240])
def test_every_frame_about_the_hit_is_looked_at_by_both(rate: float) -> None:
    times = np.arange(int(10 * rate)) / rate
    near = (times >= HIT[0] - ZONES[0].before_s) & (times <= HIT[1] + ZONES[0].after_s)
    assert looks(times, [HIT])[near].all()


@pytest.mark.parametrize("rate", [24, 25, 29.97, 30, 50, 60, 120, 240])
def test_far_from_the_hit_the_rates_are_those_stated(rate: float) -> None:
    times = np.arange(int(10 * rate)) / rate
    seen = looks(times, [HIT])
    far = times < HIT[0] - ZONES[1].before_s
    for network, stated in ((0, 30.0), (1, 15.0)):
        found = seen[far, network].sum() / (far.sum() / rate)
        assert found <= stated / (1 - EARLY) * 1.03
        assert found >= min(rate, stated) / 2 * 0.97


def test_films_of_few_frames_a_second_are_looked_at_whole_by_the_first_network() -> None:
    assert looks(np.arange(300) / 30.0, [HIT])[:, 0].all()


@given(
    st.lists(st.floats(0.002, 0.2), min_size=5, max_size=200),
    st.lists(st.tuples(st.floats(0, 10), st.floats(0, 0.5)), max_size=3),
)
def test_no_gap_is_longer_than_an_interval_and_a_frame(
    steps: list[float], spans: list[tuple[float, float]]
) -> None:
    times = np.cumsum(steps)
    seen = looks(times, [(start, start + length) for start, length in spans])
    assert seen[0].all()
    assert not (seen[:, 1] & ~seen[:, 0]).any(), "the second never looks alone"
    longest = max(steps)
    first = times[seen[:, 0]]
    assert np.diff(first, append=times[-1]).max() <= 1 / 30 + longest + 1e-9
    # The second may have to wait for the first's next look.
    second = times[seen[:, 1]]
    assert np.diff(second, append=times[-1]).max() <= 1 / 15 + 1 / 30 + 2 * longest + 1e-9
