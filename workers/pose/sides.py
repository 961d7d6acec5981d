"""Finds frames in which a network has taken the left side for the right, and undoes it.

A body seen from behind or edge-on looks much the same with left and right exchanged, and
for a frame or two of a fast turn a network may flip. Limbs do not jump across the body and
back, and two networks rarely flip at once. So the sequence of "as it is" and "exchanged",
one choice a frame for each network, is the one with the least sum of jumps between frames,
disagreement between the networks, and time spent exchanged (dynamic programming).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.contract.skeleton import LANDMARKS
from workers.pose.frames import FloatArray

Pairs = tuple[tuple[int, int], ...]


def _pairs(*parts: str) -> Pairs:
    left, right = (LANDMARKS.rows(LANDMARKS.both(part)[side] for part in parts) for side in (0, 1))
    return tuple(zip(left, right, strict=True))


UPPER = _pairs("shoulder", "elbow", "wrist", "pinky", "index", "thumb")
"""Left and right of the 33 landmarks above the hips; both networks see the first three pairs."""
LOWER = _pairs("hip", "knee", "ankle", "heel", "foot_index")
"""Left and right of the 33 landmarks; the first three of each are seen by both networks."""

_SHARED = 3
"""Pairs of each list that both networks see."""

APART_PER_S = 5.0
"""Cost of one torso length of disagreement for one second, in torso lengths of jump."""

FLIPPED_PER_S = 2.0
"""Cost of one network exchanged for one second: a flip of more than about half a second is
taken as the truth, because both sides of it then jump only once."""

_STATES = ((0, 0), (0, 1), (1, 0), (1, 1))
"""First and second network exchanged (1) or not (0)."""


@dataclass(frozen=True, slots=True)
class Flips:
    """Frames to exchange, each shape (T, 2) bool: first and second network."""

    upper: np.ndarray
    lower: np.ndarray

    def undo(self, points: FloatArray, network: int) -> FloatArray:
        """A network's landmarks, shape (T, 33, D), with flipped sides put right."""
        out = points.copy()
        for flipped, pairs in ((self.upper, UPPER), (self.lower, LOWER)):
            rows = flipped[:, network]
            out[rows] = exchanged(out[rows], pairs)
        return out


def exchanged(points: FloatArray, pairs: Pairs) -> FloatArray:
    """A copy with left and right exchanged for the given pairs; shape (..., 33, D)."""
    out = points.copy()
    for left, right in pairs:
        out[..., [left, right], :] = points[..., [right, left], :]
    return out


def find_flips(time_s: FloatArray, a: FloatArray, b: FloatArray, torso: float) -> Flips:
    """Frames in which a network has exchanged the sides of the upper or the lower body.

    Parameters
    ----------
    time_s : ndarray, shape (T,)
        Seconds.
    a, b : ndarray, shape (T, 33, D >= 2)
        Landmarks of both networks, pixels; NaN where not seen. Give `a` twice if there is
        only one network.
    torso : float
        Torso length, pixels.
    """
    return Flips(*(_flips(time_s, a, b, pairs[:_SHARED], torso) for pairs in (UPPER, LOWER)))


def _flips(
    time_s: FloatArray,
    a: FloatArray,
    b: FloatArray,
    pairs: tuple[tuple[int, int], ...],
    torso: float,
) -> np.ndarray:
    """Which frames to exchange, shape (T, 2) bool, by the least total cost."""
    joints = [joint for pair in pairs for joint in pair]
    versions = [
        [network[:, joints, :2] / torso, exchanged(network, pairs)[:, joints, :2] / torso]
        for network in (a, b)
    ]
    steps = np.diff(time_s)
    each = np.append(steps, np.median(steps)) if steps.size else np.zeros(len(time_s))
    stay = np.stack(
        [
            each * (APART_PER_S * _gap(versions[0][p], versions[1][q]) + FLIPPED_PER_S * (p + q))
            for p, q in _STATES
        ],
        axis=1,
    )
    jump = np.zeros((max(len(time_s) - 1, 0), 4, 4))
    for s, before in enumerate(_STATES):
        for t, after in enumerate(_STATES):
            for network in (0, 1):
                jump[:, s, t] += _gap(
                    versions[network][before[network]][:-1], versions[network][after[network]][1:]
                )
    best = _cheapest(stay, jump)
    return np.asarray(np.array(_STATES, dtype=bool)[best])


def _gap(p: FloatArray, q: FloatArray) -> FloatArray:
    """Mean distance of corresponding joints, shape (T,); 0 where either was not seen."""
    gap = np.hypot(p[..., 0] - q[..., 0], p[..., 1] - q[..., 1]).mean(axis=1)
    return np.asarray(np.nan_to_num(gap))


def _cheapest(stay: FloatArray, jump: FloatArray) -> np.ndarray:
    """State of each frame on the path of least cost, shape (T,) int.

    Parameters
    ----------
    stay : ndarray, shape (T, S)
        Cost of each state in each frame.
    jump : ndarray, shape (T - 1, S, S)
        Cost of going from one state to another in the next frame.
    """
    total = stay[0]
    came = np.zeros(stay.shape, dtype=np.int64)
    for i in range(1, len(stay)):
        via = total[:, None] + jump[i - 1]
        came[i] = via.argmin(axis=0)
        total = via.min(axis=0) + stay[i]
    path = np.empty(len(stay), dtype=np.int64)
    path[-1] = int(total.argmin())
    for i in range(len(stay) - 1, 0, -1):
        path[i - 1] = came[i, path[i]]
    return path


def between(
    time_s: FloatArray, settled: np.ndarray, values: FloatArray, i: int, within_s: float
) -> FloatArray | None:
    """Value at frame i by linear interpolation between the nearest settled frames.

    Parameters
    ----------
    time_s : ndarray, shape (T,)
        Seconds.
    settled : ndarray of int
        Frames to interpolate between, increasing.
    values : ndarray, shape (T, ...)
    i : int
        Frame wanted.
    within_s : float
        Both neighbours must lie so near, seconds; else None.
    """
    place = int(np.searchsorted(settled, i))
    if place == 0 or place == len(settled):
        return None
    before, after = settled[place - 1], settled[place]
    if max(time_s[i] - time_s[before], time_s[after] - time_s[i]) > within_s:
        return None
    part = (time_s[i] - time_s[before]) / (time_s[after] - time_s[before])
    return np.asarray((1 - part) * values[before] + part * values[after])
