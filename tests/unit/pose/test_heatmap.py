"""Refinement by heat maps against hand-made maps and scipy.ndimage."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage

from workers.pose.heatmap import REACH, refine

NOTHING = -50.0


def maps(*cells: tuple[int, int, float]) -> np.ndarray:
    """One 64 x 64 map of logits with the given (row, column, probability)."""
    out = np.full((64, 64, 1), NOTHING)
    for row, column, probability in cells:
        out[row, column, 0] = np.log(probability / (1 - probability))
    return out


def test_single_cell_is_taken() -> None:
    moved, peak = refine(np.array([[100.0, 60.0]]), maps((16, 26, 0.9)), 256)
    assert moved[0] == pytest.approx([104.0, 64.0])
    assert peak[0] == pytest.approx(0.9)


def test_two_cells_share_by_their_probability() -> None:
    moved, _ = refine(np.array([[100.0, 60.0]]), maps((15, 25, 0.8), (15, 26, 0.4)), 256)
    assert moved[0] == pytest.approx([(25 * 0.8 + 26 * 0.4) / 1.2 * 4, 60.0])


def test_doubtful_map_leaves_the_landmark() -> None:
    start = np.array([[101.0, 61.5]])
    moved, peak = refine(start, maps((15, 25, 0.2)), 256)
    np.testing.assert_array_equal(moved, start)
    assert peak[0] == pytest.approx(0.2)


def test_far_peak_is_not_seen() -> None:
    start = np.array([[100.0, 60.0]])
    moved, _ = refine(start, maps((15, 25 + REACH + 1, 0.99)), 256)
    np.testing.assert_array_equal(moved, start)


@pytest.mark.parametrize("place", [(-30.0, 20.0), (300.0, 300.0), (128.0, 900.0)])
def test_landmark_outside_the_crop_stays(place: tuple[float, float]) -> None:
    full = np.full((64, 64, 1), 5.0)
    moved, peak = refine(np.array([place]), full, 256)
    np.testing.assert_array_equal(moved[0], place)
    assert peak[0] == 0


def test_window_at_the_border_counts_only_cells_inside() -> None:
    moved, _ = refine(np.array([[1.0, 1.0]]), maps((0, 0, 0.5), (2, 0, 0.5)), 256)
    assert moved[0] == pytest.approx([0.0, 4.0])


def test_equals_centre_of_mass_of_scipy() -> None:
    """Reference: scipy.ndimage.center_of_mass over the same window."""
    rng = np.random.default_rng(4)
    logits = rng.normal(0, 2, (64, 64, 20))
    xy = rng.uniform(20, 236, (20, 2))
    moved, _ = refine(xy, logits, 256)
    for k, (u, v) in enumerate(xy):
        column, row = int(u // 4), int(v // 4)
        window = (slice(row - REACH, row + REACH + 1), slice(column - REACH, column + REACH + 1))
        likely = 1 / (1 + np.exp(-logits[..., k]))
        down, right = ndimage.center_of_mass(likely[window])
        expected = [(column - REACH + right) * 4, (row - REACH + down) * 4]
        assert moved[k] == pytest.approx(expected)
