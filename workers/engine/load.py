"""How body weight is shared between the feet, from the motion of the centre of mass.

An estimate from film, not a force plate. All functions take the horizontal line from the rear to
the front reference point of the feet (ankle joint centres, or foot centres as a variant).
"""

from __future__ import annotations

import numpy as np

from models.contract.tracks import FloatArray

GRAVITY = 9.81
"""m/s²."""


def static_share(com: FloatArray, rear: FloatArray, front: FloatArray) -> FloatArray:
    """Return the share of weight over the rear foot by moment balance.

    ``(x_F - x) / (x_F - x_R)`` along the floor line rear -> front. Not clamped: below 0 or above
    1 the centre of mass lies outside the feet and the body cannot be in balance.

    Parameters
    ----------
    com, rear, front : ndarray, shape (..., 3)
        Metres; only x and y are used.

    Returns
    -------
    ndarray, shape (...)
        NaN where the feet coincide.
    """
    line = (front - rear)[..., :2]
    offset = (com - rear)[..., :2]
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(1.0 - np.sum(offset * line, axis=-1) / np.sum(line * line, axis=-1))


def zero_moment_point(
    com: FloatArray, acceleration: FloatArray, floor_z: FloatArray | float = 0.0
) -> FloatArray:
    """Return where the ground force acts, for a point mass: x - z a_x / (g + a_z), and so for y.

    The change of angular momentum about the centre of mass is left out (usual with one camera).

    Parameters
    ----------
    com, acceleration : ndarray, shape (..., 3)
        Metres and m/s², z up.
    floor_z : float or ndarray, shape (...)
        Height of the floor, metres.

    Returns
    -------
    ndarray, shape (..., 3)
        On the floor; NaN where the body is all but unloaded (vertical force under 0.2 of body
        weight), where the point is undefined.
    """
    support = GRAVITY + acceleration[..., 2]
    support = np.where(support > 0.2 * GRAVITY, support, np.nan)
    height = com[..., 2] - floor_z
    shift = (height / support)[..., None] * acceleration[..., :2]
    floor = np.broadcast_to(np.asarray(floor_z, dtype=np.float64), height.shape)
    return np.concatenate([com[..., :2] - shift, floor[..., None]], axis=-1)


def dynamic_share(
    com: FloatArray,
    acceleration: FloatArray,
    rear: FloatArray,
    front: FloatArray,
    floor_z: FloatArray | float = 0.0,
) -> FloatArray:
    """Return the rear share of vertical force: static share of the zero-moment point."""
    return static_share(zero_moment_point(com, acceleration, floor_z), rear, front)


def time_at_or_above(time_s: FloatArray, share: FloatArray, level: float) -> FloatArray:
    """Return how long a series stays at or above a level, seconds, shape (..., T) -> (...).

    Linear between samples, so that it does not depend on the frame rate. NaN counts as below.
    """
    above = np.where(np.isnan(share), -1.0, share - level)
    a, b = above[..., :-1], above[..., 1:]
    high, low = np.maximum(a, b), np.minimum(a, b)
    with np.errstate(invalid="ignore", divide="ignore"):
        part = np.where(low >= 0, 1.0, np.clip(high / (high - low), 0.0, 1.0))
    part = np.where(high < 0, 0.0, part)
    return np.asarray(np.sum(part * np.diff(time_s), axis=-1))
