"""A network that looks at fewer frames than the other: its landmarks carried along in between.

How far the second network's landmark lies from the first's changes slowly (both follow the body;
what differs is where each puts a landmark on it), so between two looks the difference is
interpolated in time and added to the first network's landmark.
"""

from __future__ import annotations

import numpy as np

from models.contract.tracks import BoolArray, FloatArray


def between_looks(first: FloatArray, second: FloatArray) -> BoolArray:
    """Return which frames, shape (T,), only the first network has seen, (T, 33, 3) each."""
    return np.asarray(
        np.isfinite(first).any(axis=(1, 2)) & ~np.isfinite(second).any(axis=(1, 2)), dtype=np.bool_
    )


def interpolated(time_s: FloatArray, values: FloatArray, missing: BoolArray) -> FloatArray:
    """Return (T, 33, D) with the missing frames interpolated in time; NaN where nothing is known.

    Beyond the first and the last known frame a value is held.
    """
    if not missing.any():
        return values
    out = values.copy()
    for place in np.ndindex(*values.shape[1:]):
        series = values[(slice(None), *place)]
        known = np.isfinite(series)
        if known.any():
            out[(missing, *place)] = np.interp(time_s[missing], time_s[known], series[known])
    return out


def carried(
    time_s: FloatArray, first: FloatArray, second: FloatArray, missing: BoolArray
) -> FloatArray:
    """Return the second network's landmarks in every frame.

    Parameters
    ----------
    time_s : ndarray, shape (T,)
        Seconds.
    first, second : ndarray, shape (T, 33, 3)
        u, v, confidence; sides put right.
    missing : ndarray of bool, shape (T,)
        Frames in which the second network did not look; confidences there are interpolated.
    """
    apart = second.copy()
    apart[..., :2] -= first[..., :2]
    filled = interpolated(time_s, apart, missing)
    out = second.copy()
    out[missing] = filled[missing]
    out[missing, :, :2] += first[missing, :, :2]
    return out
