"""When a curve that is seen with error is highest: what its own errors leave open.

Films show angles and heights with errors that stay alike for a while: one that lasts moves the
curve and not its peak, and between two instants near each other little can differ. So the curve is
drawn many times with such errors, and each draw has its peak: their middle is the time, their
spread its uncertainty. A sharp bend is told to a frame, a level one is said to be level.
"""

from __future__ import annotations

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.signal import lfilter

from models.contract.tracks import FloatArray
from workers.engine.turning import Told

ERROR_TIME_S = 0.6
"""Time for which the error of a posture on film stays alike, seconds: half the mean square of its
difference between two instants is 0.07, 0.15 and 0.26 of its variance after 0.05, 0.1 and 0.2 s
(knee flexions by the learned lift, 518 simulated views of 117 drawn serves)."""
TAILS = 4.0
"""Degrees of freedom of the errors' size: some films err by far more than they say (working
value)."""
DRAWS = 300
"""Drawn curves (working value: medians of two seeds differ by 2 ms)."""
UNUSUAL = 0.05
"""Least weight of a drawn peak (working value): swings slower than usual are not forced into it."""
STEP_S, FINE_S = 1.0 / 60.0, 1.0 / 240.0
"""Steps of the drawn curves and of their peaks, seconds."""
LEAST_WINDOW_S = 0.05
"""A shorter stretch has no peak to be looked for, seconds (working value)."""


def peak(
    time_s: FloatArray,
    mean: FloatArray,
    sd: FloatArray,
    window: tuple[float, float],
    source: str,
    usual: tuple[float, float] | None = None,
    seed: int = 0,
) -> Told | None:
    """Return when a curve is highest within a window, or None where it does not reach into it.

    Parameters
    ----------
    time_s : ndarray, shape (T,)
        Seconds, increasing.
    mean, sd : ndarray, shape (T,)
        The curve and the standard deviation of its error, its own unit; NaN where unknown.
    window : (float, float)
        Seconds.
    source : str
        What the time is told by.
    usual : (float, float), optional
        When such peaks usually are and the standard deviation of that, seconds: counts where the
        curve leaves much open. Peaks that are far from it count `UNUSUAL` times as much as usual
        ones at least.
    seed : int
    """
    known = np.isfinite(mean) & np.isfinite(sd)
    if known.sum() < 4:
        return None
    when = time_s[known]
    start, end = max(window[0], float(when[0])), min(window[1], float(when[-1]))
    if end - start < LEAST_WINDOW_S:
        return None
    even = np.linspace(start, end, max(round((end - start) / STEP_S), 3) + 1)
    curve = CubicSpline(when, mean[known])(even)
    drawn = curve + np.interp(even, when, sd[known]) * _errors(even, seed)
    fine = np.linspace(start, end, max(round((end - start) / FINE_S), 3) + 1)
    peaks = fine[np.argmax(CubicSpline(even, drawn, axis=1)(fine), axis=1)]
    weight = np.ones(DRAWS)
    if usual is not None:
        weight = UNUSUAL + np.exp(-0.5 * ((peaks - usual[0]) / usual[1]) ** 2)
    order = np.argsort(peaks)
    share = np.cumsum(weight[order]) / weight.sum()
    time = float(peaks[order][np.searchsorted(share, 0.5)])
    return Told(time, float(np.sqrt(np.average((peaks - time) ** 2, weights=weight))), source)


def _errors(even: FloatArray, seed: int) -> FloatArray:
    """Return errors of unit size that stay alike for `ERROR_TIME_S`, shape (S, N)."""
    generator = np.random.default_rng([seed, 3])
    keep = float(np.exp(-(even[1] - even[0]) / ERROR_TIME_S))
    white = generator.standard_normal((DRAWS, len(even)))
    white[:, 1:] *= np.sqrt(1.0 - keep**2)
    size = np.sqrt(TAILS / generator.chisquare(TAILS, (DRAWS, 1)))
    return np.asarray(lfilter([1.0], [1.0, -keep], white, axis=1) * size)
