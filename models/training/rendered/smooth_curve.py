"""Curves through knots that are C2: quintic Hermite pieces with shape-keeping slopes.

A natural cubic spline would overshoot between a long hold and a fast swing. Here slopes follow the
monotone harmonic-mean rule (SIAM J Sci Stat Comput 1984, 5(2):300-304, from memory) and curvatures
are the three-point estimate cut down to what the neighbouring pieces can carry.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


class SmoothCurve:
    """A C2 curve through `values` at `times`; constant before the first and after the last knot.

    Parameters
    ----------
    times : (K,) strictly increasing, seconds
    values : (K,)
    still : knots (by index) at which slope and curvature are zero, whatever the neighbours
    """

    def __init__(self, times: Array, values: Array, still: Iterable[int] = ()):
        self.times = np.asarray(times, dtype=np.float64)
        self.values = np.asarray(values, dtype=np.float64)
        if (
            self.times.ndim != 1
            or self.times.shape != self.values.shape
            or np.any(np.diff(self.times) <= 0)
        ):
            raise ValueError("knots need strictly increasing times and one value each")
        self.slopes, self.curvatures = _shape(self.times, self.values)
        for index in still:
            self.slopes[index] = self.curvatures[index] = 0.0

    def __call__(self, t: Array | float) -> Array:
        """Values at times `t` (any shape)."""
        t = np.asarray(t, dtype=np.float64)
        if len(self.times) == 1:
            return np.full(t.shape, self.values[0])
        clamped = np.clip(t, self.times[0], self.times[-1])
        i = np.clip(np.searchsorted(self.times, clamped, side="right") - 1, 0, len(self.times) - 2)
        h = self.times[i + 1] - self.times[i]
        s = (clamped - self.times[i]) / h
        p0, p1 = self.values[i], self.values[i + 1]
        v0, v1 = self.slopes[i] * h, self.slopes[i + 1] * h
        a0, a1 = self.curvatures[i] * h * h, self.curvatures[i + 1] * h * h
        gap = p1 - p0
        c3 = 10 * gap - 6 * v0 - 4 * v1 - 1.5 * a0 + 0.5 * a1
        c4 = -15 * gap + 8 * v0 + 7 * v1 + 1.5 * a0 - a1
        c5 = 6 * gap - 3 * (v0 + v1) + 0.5 * (a1 - a0)
        return p0 + s * (v0 + s * (0.5 * a0 + s * (c3 + s * (c4 + s * c5))))


def _shape(t: Array, y: Array) -> tuple[Array, Array]:
    """Slopes and second derivatives at the knots; zero at the ends, where the body is still."""
    slope = np.zeros(len(t))
    curve = np.zeros(len(t))
    if len(t) < 3:
        return slope, curve
    h = np.diff(t)
    d = np.diff(y) / h
    before, after = d[:-1], d[1:]
    w = (h[:-1] + 2 * h[1:]) / (3 * (h[:-1] + h[1:]))
    same = before * after > 0
    mean = np.where(same, before * after / np.where(same, w * after + (1 - w) * before, 1.0), 0.0)
    slope[1:-1] = mean
    raw = 2 * (after - before) / (h[:-1] + h[1:])
    room = np.minimum(np.abs(before) / h[:-1], np.abs(after) / h[1:])
    # At a turning point both sides share the sign of the bend and may use it fully; on a monotone
    # stretch a large bend would make the piece overshoot, so it is cut harder.
    limit = np.where(same, 1.5, 3.5) * room
    curve[1:-1] = np.clip(raw, -limit, limit)
    return slope, curve
