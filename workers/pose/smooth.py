"""Zero-lag low-pass on the clip's own timestamps, its cut-off found by residual analysis.

The cubic smoothing spline that minimises ``sum w (y - f)^2 + lam * integral f''^2``, with
each sample weighted by the time it stands for, has the gain ``1 / (1 + (f / f0)^4)`` with
``lam = (2 pi f0)^-4`` and no lag. That is the gain of a second-order Butterworth filter
run forward and backward, so the usual design rule holds unchanged: for a total cut-off
(-3 dB) of fc, ``f0 = fc / C`` with ``C = (sqrt(2) - 1)^(1/4) = 0.80224``
(Biomechanics and Motor Control of Human Movement). Unlike the recursive filter it needs
no constant frame interval and no padding at the ends.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import make_smoothing_spline

from workers.pose.frames import FloatArray

TWO_PASS = (2.0**0.5 - 1.0) ** 0.25
"""Ratio of total cut-off to single-pass corner frequency for two passes: 0.80224."""

FEWEST = 8
"""Stretches with fewer samples are returned as they are."""

GAP_S = 0.5
"""A longer gap between samples starts a new stretch."""

TAIL_FROM_HZ = 10.0
"""The straight part of the residuals starts here, or at three quarters of the range."""

STEP_HZ = 0.5
"""Cut-offs are rounded to this, so that columns can be smoothed together."""

LOWEST_HZ = 3.0
"""Lowest cut-off considered, hertz (working value)."""
HIGHEST_HZ = 20.0
"""Range of cut-offs considered; the upper end is also bounded by the frame rate."""


def intervals(time_s: FloatArray) -> FloatArray:
    """Time each sample stands for, shape (T,): half the way to both neighbours, seconds."""
    steps = np.diff(time_s)
    spread = np.concatenate([steps[:1], (steps[:-1] + steps[1:]) / 2, steps[-1:]])
    # A gap is not a sample that counts for long.
    return np.asarray(np.minimum(spread, 2.0 * np.median(steps)))


def low_pass(time_s: FloatArray, values: FloatArray, cut_off_hz: float) -> FloatArray:
    """Smooth columns of samples without lag.

    Parameters
    ----------
    time_s : ndarray, shape (T,)
        Strictly increasing, seconds, any spacing; T >= 5.
    values : ndarray, shape (T, ...)
        Finite samples.
    cut_off_hz : float
        Frequency at which the gain is 1/sqrt(2).

    Returns
    -------
    ndarray, shape (T, ...)
    """
    corner = 2.0 * np.pi * cut_off_hz / TWO_PASS
    # Seconds scaled to frames keep the normal equations well conditioned.
    unit = float(np.median(np.diff(time_s)))
    x = (time_s - time_s[0]) / unit
    spline = make_smoothing_spline(
        x, values, w=intervals(time_s) / unit, lam=float((corner * unit) ** -4), axis=0
    )
    return np.asarray(spline(x))


def candidates(frame_rate_hz: float) -> FloatArray:
    """Cut-offs tried by the residual analysis, Hz, increasing.

    Up to 0.45 of the frame rate, at most 25 Hz: above that the errors of a pose network are
    no longer white (they follow from frame to frame), and the straight part bends down.
    """
    top = min(0.45 * frame_rate_hz, 25.0)
    return np.geomspace(min(1.0, top / 16), top, 20)


def residual_cut_off(frequency_hz: FloatArray, residual: FloatArray) -> float:
    """Cut-off by residual analysis (Winter).

    Parameters
    ----------
    frequency_hz : ndarray, shape (F,)
        Cut-offs tried, increasing.
    residual : ndarray, shape (F,)
        RMS difference between raw and filtered at each.

    Returns
    -------
    float
        The straight line through the upper part, where only noise is left to remove, is
        continued to zero; its value there is the noise RMS. The cut-off is where the
        residual equals it. The highest frequency if the residual never falls so low.
    """
    tail = frequency_hz >= min(TAIL_FROM_HZ, 0.75 * frequency_hz[-1])
    slope, noise = np.polyfit(frequency_hz[tail], residual[tail], 1)
    noise = noise if slope < 0 else float(residual[tail].mean())
    below = np.flatnonzero(residual <= noise)
    if not below.size:
        return float(frequency_hz[-1])
    first = int(below[0])
    if first == 0:
        return float(frequency_hz[0])
    lo, hi = residual[first - 1], residual[first]
    part = (lo - noise) / (lo - hi) if lo > hi else 1.0
    step = frequency_hz[first] - frequency_hz[first - 1]
    return float(frequency_hz[first - 1] + part * step)


@dataclass(frozen=True, slots=True)
class Smoothed:
    """Result of `smooth_tracks`.

    Attributes
    ----------
    values : ndarray, shape (T, K, D)
        NaN where the input was NaN.
    cut_off_hz : ndarray, shape (K, D)
        Chosen per column; NaN for columns never smoothed.
    """

    values: FloatArray
    cut_off_hz: FloatArray


def smooth_tracks(
    time_s: FloatArray, values: FloatArray, raised: FloatArray | None = None
) -> Smoothed:
    """Smooth K points in D coordinates, each column at its own cut-off.

    Parameters
    ----------
    time_s : ndarray, shape (T,)
        Seconds, strictly increasing.
    values : ndarray, shape (T, K, D)
        Rows are either all finite or all NaN (nobody seen).
    raised : ndarray, shape (K,), optional
        Factor on the cut-off of each point that residual analysis finds. It is known to
        find too low ones (J Appl Biomech 1999, from memory,
        doi 10.1123/jab.15.3.318), which matters for the fastest points.
    """
    out = np.array(values, dtype=np.float64)
    cut = np.full(values.shape[1:], np.nan)
    seen = np.flatnonzero(np.isfinite(values).all(axis=(1, 2)))
    stretches = _stretches(time_s, seen)
    if not stretches:
        return Smoothed(out, cut)
    rate = 1.0 / float(np.median(np.concatenate([np.diff(time_s[rows]) for rows in stretches])))
    factor = np.ones(values.shape[1]) if raised is None else raised
    cut = _choose(time_s, values, stretches, rate, factor)
    for rows in stretches:
        for frequency in np.unique(cut):
            same = cut == frequency
            block = out[rows]
            block[:, same] = low_pass(time_s[rows], values[rows][:, same], float(frequency))
            out[rows] = block
    return Smoothed(out, cut)


def _stretches(time_s: FloatArray, seen: np.ndarray) -> list[np.ndarray]:
    if seen.size == 0:
        return []
    parts = np.split(seen, np.flatnonzero(np.diff(time_s[seen]) > GAP_S) + 1)
    return [part for part in parts if part.size >= FEWEST]


def _choose(
    time_s: FloatArray,
    values: FloatArray,
    stretches: list[np.ndarray],
    rate: float,
    factor: FloatArray,
) -> FloatArray:
    """Cut-off of each column, shape (K, D), in steps of `STEP_HZ`."""
    tried = candidates(rate)
    square = np.zeros((tried.size, *values.shape[1:]))
    count = sum(len(rows) for rows in stretches)
    for rows in stretches:
        t, y = time_s[rows], values[rows]
        for i, frequency in enumerate(tried):
            square[i] += ((y - low_pass(t, y, float(frequency))) ** 2).sum(axis=0)
    residual = np.sqrt(square / count)
    top = min(HIGHEST_HZ, float(tried[-1]))
    cut = np.empty(values.shape[1:])
    for k, d in np.ndindex(*cut.shape):
        found = factor[k] * residual_cut_off(tried, residual[:, k, d])
        cut[k, d] = np.clip(np.round(found / STEP_HZ) * STEP_HZ, min(LOWEST_HZ, top), top)
    return cut
