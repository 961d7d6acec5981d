from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as hs
from scipy.interpolate import make_interp_spline

from models.contract.analysis import Event
from models.contract.skeleton import CANONICAL_BODY
from models.contract.tracks import BodyMotion
from models.contract.vocabulary import EventName
from workers.decide.timewarp import ORDER, register
from workers.decide.trajectories import match_trajectories


def _events(times: list[float]) -> dict[EventName, Event]:
    return {
        name: Event(time_s=t, frame=0, uncertainty_s=0, confidence=1)
        for name, t in zip(ORDER, times, strict=False)
    }


gaps = hs.lists(hs.floats(0.05, 2), min_size=5, max_size=5)


@given(gaps, gaps, hs.floats(0, 1))
def test_warp_agrees_with_a_first_degree_spline(a: list[float], b: list[float], at: float) -> None:
    """Reference: scipy's interpolating spline of degree 1 through the event pairs."""
    ta, tb = np.cumsum([0.1, *a]), np.cumsum([0.4, *b])
    registration = register(_events(list(ta)), _events(list(tb)))
    assert registration is not None
    time = ta[0] + at * (ta[-1] - ta[0])
    expected = make_interp_spline(ta, tb, k=1)(time)
    phase = np.interp(time, ta, np.arange(len(ta)))
    found = registration.to_time(np.array([phase]), second=True)
    np.testing.assert_allclose(found, expected, atol=1e-9)


def test_events_out_of_order_are_left_out() -> None:
    registration = register(_events([1, 2, 3]), _events([1, 0.5, 4]))
    assert registration.events == (ORDER[0], ORDER[2])


def test_one_shared_event_is_too_few() -> None:
    assert register(_events([1]), _events([1, 2])) is None


def test_the_same_motion_at_another_speed_and_size_matches_exactly() -> None:
    rng = np.random.default_rng(0)
    base = rng.normal(size=(61, len(CANONICAL_BODY), 3))
    zeros = np.zeros_like(base)
    frames = np.arange(61)
    t = np.linspace(0, 2, 61)
    small = BodyMotion(t, frames, base, zeros, False, 1.6, "joints_in")
    tall = BodyMotion(t * 1.5 + 1, frames, base * 1.9 / 1.6, zeros, True, 1.9, "joints_in")
    registration = register(_events([0, 0.5, 2]), _events([1, 1.75, 4]))
    matched = match_trajectories(small, tall, registration)
    np.testing.assert_allclose(matched.distance, 0, atol=1e-12)
