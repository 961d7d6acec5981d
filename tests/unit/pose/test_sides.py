"""Exchanged sides are found and undone; a body that really turns is left alone."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from workers.pose.sides import LOWER, UPPER, Flips, between, exchanged, find_flips
from workers.pose.sides import _cheapest as cheapest  # the search itself has an exact reference

TORSO = 100.0


def walker(frames: int = 60, rate: float = 60.0) -> tuple[np.ndarray, np.ndarray]:
    """Landmarks of a body seen from the front whose joints sway; left joints to the right."""
    t = np.arange(frames) / rate
    base = np.zeros((33, 2))
    for row, pair in enumerate((*UPPER, *LOWER)):
        base[list(pair)] = [[40.0, 12.0 * row], [-40.0, 12.0 * row]]
    sway = 15 * np.sin(2 * np.pi * t + 0.3)
    xy = base[None] + np.stack([sway, 0.5 * sway], axis=1)[:, None]
    return t, np.concatenate([xy + 300, np.ones((frames, 33, 1))], axis=2)


def flip(points: np.ndarray, rows: slice | list[int], pairs: tuple[tuple[int, int], ...]) -> None:
    points[rows] = exchanged(points[rows], pairs)


@pytest.mark.parametrize("pairs", [UPPER, LOWER, UPPER + LOWER])
@pytest.mark.parametrize("rows", [[20], [20, 21, 22], [0, 1], [58, 59]])
def test_flip_of_one_network_is_undone(pairs: tuple[tuple[int, int], ...], rows: list[int]) -> None:
    t, clean = walker()
    rng = np.random.default_rng(1)
    a, b = (clean + np.append(rng.normal(0, 3, 2), 0) for _ in range(2))
    expected = a.copy()
    flip(a, rows, pairs)
    flips = find_flips(t, a, b, TORSO)
    np.testing.assert_array_equal(flips.undo(a, 0), expected)
    np.testing.assert_array_equal(flips.undo(b, 1), b)


def test_flip_of_both_networks_at_once_is_undone() -> None:
    t, clean = walker()
    a, b = clean.copy(), clean.copy()
    for network in (a, b):
        flip(network, [30, 31], UPPER)
    flips = find_flips(t, a, b, TORSO)
    np.testing.assert_array_equal(flips.undo(a, 0), clean)
    np.testing.assert_array_equal(flips.undo(b, 1), clean)


def test_single_network_given_twice() -> None:
    t, clean = walker()
    a = clean.copy()
    flip(a, [10], LOWER)
    np.testing.assert_array_equal(find_flips(t, a, a, TORSO).undo(a, 0), clean)


def test_body_that_turns_round_is_left_alone() -> None:
    """Half a turn in 0.4 s: left and right change places, but pass through the middle."""
    t, clean = walker(90)
    angle = np.clip((t - 0.5) / 0.4, 0, 1) * np.pi
    turned = clean.copy()
    turned[..., 0] = 300 + (clean[..., 0] - 300) * np.cos(angle)[:, None]
    flips = find_flips(t, turned, turned, TORSO)
    assert not flips.upper.any()
    assert not flips.lower.any()


def test_frames_without_a_person_are_passed_over() -> None:
    t, clean = walker()
    a = clean.copy()
    a[25:35] = np.nan
    flip(a, [20], UPPER)
    undone = find_flips(t, a, clean, TORSO).undo(a, 0)
    np.testing.assert_array_equal(undone[:25], clean[:25])
    assert np.isnan(undone[25:35]).all()


def test_undo_carries_hands_and_feet_along() -> None:
    upper = np.array([[True, False]])
    lower = np.array([[True, False]])
    points = np.arange(33.0)[None, :, None]
    undone = Flips(upper, lower).undo(points, 0)[0, :, 0]
    assert undone[[15, 19, 27, 29, 31]].tolist() == [16, 20, 28, 30, 32]
    assert undone[:11].tolist() == list(range(11))


def test_search_finds_the_optimum_of_exhaustive_search() -> None:
    rng = np.random.default_rng(2)
    for _ in range(20):
        stay, jump = rng.random((5, 4)), rng.random((4, 4, 4))

        def cost(path: tuple[int, ...], stay: np.ndarray = stay, jump: np.ndarray = jump) -> float:
            steps = itertools.pairwise(path)
            return float(
                sum(stay[i, s] for i, s in enumerate(path))
                + sum(jump[i, s, t] for i, (s, t) in enumerate(steps))
            )

        best = min(itertools.product(range(4), repeat=5), key=cost)
        assert cheapest(stay, jump).tolist() == list(best)


def test_between_needs_near_neighbours_on_both_sides() -> None:
    t = np.array([0.0, 0.1, 0.2, 0.3])
    values = np.array([[0.0], [5.0], [9.0], [30.0]])
    settled = np.array([0, 3])
    assert between(t, settled, values, 1, 0.5) == pytest.approx(10.0)
    assert between(t, settled, values, 1, 0.15) is None
    assert between(t, np.array([0]), values, 1, 9.0) is None
