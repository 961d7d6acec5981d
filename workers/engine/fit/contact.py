"""Which foot stands on the court when: from the pictures first, then checked against the fit."""

from __future__ import annotations

import numpy as np

from models.contract.skeleton import CANONICAL_BODY
from models.contract.tracks import BoolArray, FloatArray
from workers.engine.fit.ground import FEET
from workers.engine.fit.problem import FitProblem
from workers.engine.fit.skeleton import point
from workers.engine.fit.state import FitState

STILL_SPEED = 0.25
"""A foot point slower than this in the picture may be standing, m/s for a body of 1.75 m."""

SHORTEST_S = 0.12
"""Shortest stance that counts, seconds."""

FLAT_SHIFT = 0.012
"""While an ankle has moved less than this since the start the foot is flat, share of height."""

FLOOR_GAP_M = 0.10
"""A standing foot whose toe hovers higher than this over the floor is in the air."""

_SMOOTH_S = 0.10
"""Twice the standard deviation of the Gaussian over which a foot is smoothed, seconds
(working value)."""


def stances(time_s: FloatArray, uv: FloatArray, stature_px: float) -> BoolArray:
    """Return where each point of `FEET` stands still in the picture.

    Parameters
    ----------
    time_s : ndarray, shape (T,)
    uv : ndarray, shape (T, 17, 2)
        Pixels of the body's points; NaN where a point is never seen.
    stature_px : float
        Standing height in pixels.

    Returns
    -------
    ndarray of bool, shape (T, 6)
    """
    still = np.zeros((len(time_s), len(FEET)), dtype=bool)
    for i, name in enumerate(FEET):
        path: FloatArray = np.asarray(uv[:, point(name)])
        if not np.isfinite(path).all():
            path = uv[:, point(name.replace("toe", "ankle").replace("heel", "ankle"))]
        if not np.isfinite(path).all():
            continue
        smooth = _smooth(time_s, path)
        speed = np.linalg.norm(np.gradient(smooth, time_s, axis=0), axis=-1) / stature_px
        still[:, i] = _long_runs(time_s, speed * 1.75 < STILL_SPEED)
    return still


def flat_feet(time_s: FloatArray, uv: FloatArray, stature_px: float) -> BoolArray:
    """Return while each ankle has not left its place of the first instants, shape (T, 2)."""
    flat = np.zeros((len(time_s), 2), dtype=bool)
    for i, ankle in enumerate(CANONICAL_BODY.both("ankle")):
        path = uv[:, point(ankle)]
        if not np.isfinite(path).all():
            continue
        first = np.median(path[time_s <= time_s[0] + 0.3], axis=0)
        shift = np.linalg.norm(_smooth(time_s, path) - first, axis=-1) / stature_px
        moved = np.flatnonzero(shift > FLAT_SHIFT)
        flat[: moved[0] if len(moved) else len(path), i] = True
    return flat


def settle(problem: FitProblem, state: FitState, still: BoolArray, flat: BoolArray) -> None:
    """Set the problem's foot weights: rest on the floor, no slip.

    A toe that stands still in the picture rests on the floor unless the state shows it in the air;
    heel and ankle rest on it only while the foot is flat.
    """
    points = problem.feet_map.at(state.body) @ state.vectors
    height = points[..., :2, 2] - state.camera.floor_m
    rest: FloatArray = np.zeros(still.shape)
    for side in range(2):
        for start, stop in _runs(still[:, side]):
            low = np.median(height[start:stop, side]) < FLOOR_GAP_M
            rest[start:stop, side] = low or flat[start:stop, side].mean() > 0.5
        flat_rest = rest[:, side] * flat[:, side]
        rest[:, 2 + side] = flat_rest
        rest[:, 4 + side] = flat_rest
    problem.rest = rest
    glued = still & (rest > 0)
    problem.still = (glued[1:] & glued[:-1]).astype(float)


def _smooth(time_s: FloatArray, path: FloatArray) -> FloatArray:
    """Average over a moving window of time (a Gaussian), shape kept."""
    weight = np.exp(-0.5 * ((time_s[:, None] - time_s) / (_SMOOTH_S / 2)) ** 2)
    return np.asarray(weight @ path / weight.sum(axis=1, keepdims=True))


def _runs(mask: BoolArray) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(int)))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _long_runs(time_s: FloatArray, mask: BoolArray) -> BoolArray:
    kept = np.zeros_like(mask)
    for start, stop in _runs(mask):
        if time_s[stop - 1] - time_s[start] >= SHORTEST_S:
            kept[start:stop] = True
    return kept
