"""Landmarks of a network that looked at some frames only."""

from __future__ import annotations

import numpy as np
import pytest

from workers.pose.carry import between_looks, carried
from workers.pose.networks import COCO_TO_LANDMARK, LANDMARK_COUNT

TIME = np.array([0.0, 0.02, 0.05, 0.06, 0.1, 0.13])
MISSING = np.array([False, True, True, False, True, False])
BOTH = list(COCO_TO_LANDMARK)


def two_networks() -> tuple[np.ndarray, np.ndarray]:
    """A fast body; the second network is off by a slowly changing amount and lacks landmarks."""
    rng = np.random.default_rng(0)
    first = rng.uniform(0, 500, (len(TIME), LANDMARK_COUNT, 3))
    first[..., 2] = 0.9
    second = np.full_like(first, np.nan)
    off = rng.uniform(-5, 5, (1, len(BOTH), 2)) + TIME[:, None, None] * 20.0
    second[:, BOTH, :2] = first[:, BOTH, :2] + off
    second[:, BOTH, 2] = 0.4 + TIME[:, None]
    return first, second


def test_a_difference_that_changes_evenly_is_carried_exactly() -> None:
    first, second = two_networks()
    seen = second.copy()
    seen[MISSING] = np.nan
    assert between_looks(first, seen).tolist() == MISSING.tolist()
    found = carried(TIME, first, seen, MISSING)
    np.testing.assert_allclose(found[:, BOTH], second[:, BOTH], atol=1e-9)
    unseen = np.setdiff1d(np.arange(LANDMARK_COUNT), BOTH)
    assert np.isnan(found[:, unseen]).all()


def test_looks_stay_as_they_were_and_nobody_is_invented() -> None:
    first, second = two_networks()
    second[MISSING] = np.nan
    first[1] = np.nan  # the person was lost there
    missing = between_looks(first, second)
    assert missing.tolist() == [False, False, True, False, True, False]
    found = carried(TIME, first, second, missing)
    np.testing.assert_array_equal(found[~MISSING], second[~MISSING])
    assert np.isnan(found[1]).all()


@pytest.mark.parametrize("known", [0, 5])
def test_beyond_the_last_look_the_difference_is_held(known: int) -> None:
    first, second = two_networks()
    missing = np.arange(len(TIME)) != known
    off = second[known, BOTH, :2] - first[known, BOTH, :2]
    second[missing] = np.nan
    found = carried(TIME, first, second, missing)
    np.testing.assert_allclose(found[:, BOTH, :2] - first[:, BOTH, :2], np.tile(off, (6, 1, 1)))
