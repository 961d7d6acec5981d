"""Times of turning points, as sure as the series is sharp, and several tellings of one time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.contract.tracks import BoolArray, FloatArray

SURE_S = 0.004
"""Least standard deviation of a turning point of a sampled series, seconds (working value)."""
APART = 3.0
"""Tellings farther apart than so many standard deviations are about different things: the surer
one counts, and is doubted."""


@dataclass(frozen=True, slots=True)
class Told:
    """A time, its standard deviation, and what tells it."""

    time_s: float
    sd_s: float
    source: str


def turning(
    time_s: FloatArray, series: FloatArray, mask: BoolArray, sign: int, noise: float, source: str
) -> Told | None:
    """Return when a series is highest (``sign`` 1) or lowest (-1) within a mask.

    The time is the middle of the stretch about the extreme that noise cannot tell from it; half
    its width over the square root of three is the standard deviation. A flat series is unsure.

    Parameters
    ----------
    time_s, series : ndarray, shape (T,)
    mask : ndarray of bool, shape (T,)
    noise : float
        Standard deviation of the series, its own unit.
    """
    where = np.flatnonzero(mask & np.isfinite(series))
    if where.size == 0:
        return None
    values = sign * series[where]
    best = int(np.argmax(values))
    level = values >= values[best] - noise
    low = best
    while low > 0 and level[low - 1] and where[low - 1] == where[low] - 1:
        low -= 1
    high = best
    while high + 1 < len(where) and level[high + 1] and where[high + 1] == where[high] + 1:
        high += 1
    begin, end = float(time_s[where[low]]), float(time_s[where[high]])
    sd = float(np.hypot((end - begin) / 2.0 / np.sqrt(3.0), SURE_S))
    return Told((begin + end) / 2.0, sd, source)


def joined(*told: Told | None) -> Told:
    """Return what several tellings of one time say together: their mean by inverse variance.

    Tellings that disagree beyond their standard deviations widen the result (Birge ratio, Phys Rev
    40, 207, 1932); the source names all that count for a fifth or more, the surest first.

    Raises
    ------
    ValueError
        Without any.
    """
    known = sorted((one for one in told if one is not None), key=lambda one: one.sd_s)
    if not known:
        raise ValueError("nothing tells the time")
    surest = known[0]
    used = [
        one
        for one in known
        if abs(one.time_s - surest.time_s) <= APART * np.hypot(one.sd_s, surest.sd_s)
    ]
    weight = np.array([one.sd_s**-2 for one in used])
    times = np.array([one.time_s for one in used])
    mean = float(np.sum(weight * times) / np.sum(weight))
    sd = float(np.sum(weight) ** -0.5)
    if len(used) > 1:
        chi = float(np.sum(weight * (times - mean) ** 2)) / (len(used) - 1)
        sd *= float(np.sqrt(max(1.0, chi)))
    if len(used) < len(known):
        sd *= 1.5
    share = weight / np.sum(weight)
    names = [one.source for one, part in zip(used, share, strict=True) if part >= 0.2]
    return Told(mean, sd, "+".join(dict.fromkeys(names)))
