"""Smoothed values and derivatives of series sampled at irregular times.

`local_fit` fits a quadratic around each instant and gives value, velocity and acceleration on the
series' own times.
"""

from __future__ import annotations

import numpy as np
from scipy.sparse import csr_array

from models.contract.tracks import FloatArray


def local_fit(
    time_s: FloatArray, values: FloatArray, half_width_s: float, degree: int = 2
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return value, velocity and acceleration from a polynomial fitted around each instant.

    Weighted least squares in a window of ``+- half_width_s`` (at least ``degree + 2`` samples),
    tricube weights. Exact for polynomials up to ``degree`` on any time grid.

    Parameters
    ----------
    time_s : ndarray, shape (T,)
    values : ndarray, shape (..., T, D)
        The time axis is the last but one.
    half_width_s : float
    degree : int

    Returns
    -------
    tuple of ndarray, each shape (..., T, D)
    """
    operators = local_operators(time_s, half_width_s, degree)
    value, first, second = (apply_in_time(operator, values) for operator in operators)
    return value, first, second


def apply_in_time(operator: csr_array, values: FloatArray) -> FloatArray:
    """Return a (T, T) operator applied along the last axis but one of (..., T, D)."""
    series = np.moveaxis(np.asarray(values, dtype=np.float64), -2, 0)
    flat = operator @ np.ascontiguousarray(series).reshape(operator.shape[0], -1)
    return np.moveaxis(flat.reshape(series.shape), 0, -2)


def local_operators(
    time_s: FloatArray, half_width_s: float, degree: int = 2
) -> tuple[csr_array, csr_array, csr_array]:
    """Return the (T, T) operators that take a series to its local value and two derivatives.

    Sparse: a long film has many instants, and each looks at few neighbours.
    """
    count = len(time_s)
    need = min(count, degree + 2)
    half = np.maximum(half_width_s, _distance_to_nearest(time_s, need) * 1.01)
    low = np.searchsorted(time_s, time_s - half, side="left")
    high = np.searchsorted(time_s, time_s + half, side="right")
    order = min(degree, need - 1)
    ends = np.concatenate([[0], np.cumsum(high - low)])
    columns = np.concatenate(
        [np.empty(0, np.int64), *(np.arange(a, b) for a, b in zip(low, high, strict=True))]
    )
    weights = np.zeros((3, ends[-1]))
    for size in np.unique(high - low):
        rows = np.flatnonzero(high - low == size)
        near = low[rows, None] + np.arange(size)
        scaled = (time_s[near] - time_s[rows, None]) / half[rows, None]
        weight = np.clip(1.0 - np.abs(scaled) ** 3, 0.0, None) ** 3 + 1e-9
        basis = scaled[..., None] ** np.arange(order + 1)
        weighted = np.swapaxes(basis * weight[..., None], 1, 2)
        solution = np.linalg.solve(weighted @ basis, weighted)
        place = ends[rows, None] + np.arange(size)
        weights[0, place] = solution[:, 0]
        if order >= 1:
            weights[1, place] = solution[:, 1] / half[rows, None]
        if order >= 2:
            weights[2, place] = 2.0 * solution[:, 2] / half[rows, None] ** 2
    value, first, second = (csr_array((w, columns, ends), shape=(count, count)) for w in weights)
    return value, first, second


def _distance_to_nearest(time_s: FloatArray, need: int) -> FloatArray:
    """Return how far each instant must reach to span ``need`` samples (itself included)."""
    count = len(time_s)
    best = np.full(count, np.inf)
    for before in range(need):
        first = np.arange(count) - before
        last = first + need - 1
        inside = (first >= 0) & (last < count)
        rows = np.flatnonzero(inside)
        reach = np.maximum(
            time_s[rows] - time_s[first[inside]], time_s[last[inside]] - time_s[rows]
        )
        best[rows] = np.minimum(best[rows], reach)
    return best
