"""The second network's looks, and what is drawn between them."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from workers.pose.seldom import APART_S, RATE_HZ, Due, Looks


@pytest.mark.parametrize(("rate", "every"), [(25.0, 1), (30.0, 1), (60.0, 2), (120.0, 4)])
def test_it_looks_at_most_at_its_rate(rate: float, every: int) -> None:
    pace = Due()
    looked = [pace.looks(frame / rate) for frame in range(20)]
    assert looked == [frame % every == 0 for frame in range(20)]


@given(st.floats(24.0, 240.0), st.integers(0, 2**32 - 1))
def test_a_wavering_film_is_looked_at_about_as_often(rate: float, seed: int) -> None:
    wavering = np.random.default_rng(seed).uniform(0.9, 1.1, 200) / rate
    pace, times = Due(), np.cumsum(wavering)
    looked = times[[pace.looks(float(time)) for time in times]]
    assert np.diff(looked).min() >= 0.97 / RATE_HZ or len(looked) == len(times)
    assert np.diff(looked).max() < 1.0 / RATE_HZ + 1.1 / rate


def bodies(count: int) -> tuple[np.ndarray, np.ndarray]:
    """A first network's fast path, and a second one that is off by a slowly changing amount."""
    time_s = np.arange(count) / 60.0
    first = np.full((count, 33, 3), 0.9)
    first[..., 0] = 100.0 + 50.0 * np.sin(20.0 * time_s)[:, None] + np.arange(33)
    first[..., 1] = 200.0
    second = first + np.array([1.0, 0.0, -0.2]) * (1.0 + time_s)[:, None, None]
    return first, second


def test_a_slow_difference_is_restored_however_fast_the_body() -> None:
    first, second = bodies(21)
    time_s = np.arange(21) / 60.0
    asked = np.arange(21) % 2 == 0
    seen = np.where(asked[:, None, None], second, np.nan)
    looks = Looks(time_s, asked)
    drawn = looks.between(first, looks.held(seen))
    np.testing.assert_allclose(drawn, second, atol=1e-9)


def test_nothing_is_drawn_without_looks_on_both_sides_nearby() -> None:
    first, second = bodies(5)
    asked = np.array([False, True, False, True, False])
    near = Looks(np.arange(5) / 60.0, asked).between(first, second)
    assert np.isnan(near[[0, 4]]).all()
    assert np.isfinite(near[[1, 2, 3]]).all()
    far = Looks(np.arange(5) * APART_S, asked).between(first, second)
    assert np.isnan(far[2]).all()


def test_every_look_is_kept_as_it_is() -> None:
    first, second = bodies(4)
    all_asked = Looks(np.arange(4) / 60.0, np.ones(4, dtype=bool))
    assert all_asked.between(first, second) is second
    np.testing.assert_array_equal(all_asked.held(second), second)
