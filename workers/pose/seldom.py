"""The second network looks seldom: between its looks, its difference from the first is drawn on.

What the two networks disagree about changes slowly (where each puts a joint on a limb), what the
body does changes fast, and the first network sees that in every frame. With it and the frame
budget, 394 of 403 values of nine rendered films lie within half their standard error of every-frame
processing, none more than one away.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.contract.tracks import BoolArray
from workers.pose.budget import EARLY
from workers.pose.frames import FloatArray

RATE_HZ = 30.0
"""The second network's looks a second, at most."""
APART_S = 0.1
"""Looks farther apart than this say nothing of what lies between, seconds (working value)."""


class Due:
    """Says, frame after frame in order, at which the second network looks."""

    def __init__(self) -> None:
        self._last = -np.inf

    def looks(self, time_s: float) -> bool:
        """Tell whether it looks at this frame."""
        due = time_s - self._last >= (1.0 - EARLY) / RATE_HZ
        if due:
            self._last = time_s
        return bool(due)


@dataclass(frozen=True, slots=True)
class Looks:
    """When the second network looked.

    Attributes
    ----------
    time_s : ndarray, shape (T,)
        Of every frame, seconds.
    asked : ndarray, shape (T,)
        Whether it looked at the frame.
    """

    time_s: FloatArray
    asked: BoolArray

    def held(self, second: FloatArray) -> FloatArray:
        """Each look until the next, shape (T, 33, 3); what comes before the first is NaN."""
        rows = np.where(self.asked, np.arange(len(self.asked)), -1)
        last = np.maximum.accumulate(rows)
        return np.where((last >= 0)[:, None, None], second[np.maximum(last, 0)], np.nan)

    def between(self, first: FloatArray, second: FloatArray) -> FloatArray:
        """The second network's landmarks at every frame.

        Parameters
        ----------
        first, second : ndarray, shape (T, 33, 3)
            u, v, confidence, sides put right; of ``second`` only the looks are read.

        Returns
        -------
        ndarray, shape (T, 33, 3)
            First plus the difference between looks, drawn straight; NaN where a look on either
            side is missing or too far.
        """
        looks = np.flatnonzero(self.asked)
        if len(looks) == len(self.asked):
            return second
        out = np.full_like(second, np.nan)
        out[looks] = second[looks]
        missing = np.flatnonzero(~self.asked)
        place = np.searchsorted(looks, missing)
        inside = (place > 0) & (place < len(looks))
        missing, place = missing[inside], place[inside]
        before, after = looks[place - 1], looks[place]
        span = self.time_s[after] - self.time_s[before]
        near = span <= APART_S
        missing, before, after, span = missing[near], before[near], after[near], span[near]
        part = ((self.time_s[missing] - self.time_s[before]) / span)[:, None, None]
        apart = second - first
        drawn = first[missing] + (1.0 - part) * apart[before] + part * apart[after]
        drawn[..., 2] = np.clip(drawn[..., 2], 0.0, 1.0)
        out[missing] = drawn
        return out
