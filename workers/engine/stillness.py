"""Still stretches: a stance lasts, the lull where a slow backswing turns round does not."""

from __future__ import annotations

import numpy as np

from models.contract.tracks import BoolArray, FloatArray

STANCE_S = 0.15
"""A stance is still for so long at least (working value)."""
GAP_S = 0.06
"""Unrest for less than this is noise of a film, not a movement."""


def lasting(still: BoolArray, time_s: FloatArray, least_s: float) -> BoolArray:
    """Return the samples of still stretches that last, short gaps bridged.

    Parameters
    ----------
    still : ndarray of bool, shape (T,)
    time_s : ndarray, shape (T,)
    least_s : float
        Shortest stretch that counts, seconds.
    """
    rows = np.flatnonzero(still)
    ends = np.flatnonzero(np.diff(time_s[rows]) > GAP_S) + 1
    kept = np.zeros_like(still)
    for run in np.split(rows, ends):
        if run.size and time_s[run[-1]] - time_s[run[0]] >= least_s:
            kept[run] = True
    return kept
