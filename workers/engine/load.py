"""How body weight is shared between the feet, from the motion of the centre of mass.

An estimate from film, not a force plate. All functions take the horizontal line from the rear to
the front reference point of the feet (ankle joint centres, or foot centres as a variant).
"""

from __future__ import annotations

import numpy as np

from models.contract.tracks import BoolArray, FloatArray

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


def vertical_force(acceleration: FloatArray) -> FloatArray:
    """Return total vertical ground force in body weights: (g + a_z) / g."""
    return np.asarray((GRAVITY + acceleration[..., 2]) / GRAVITY)


def extrapolated_com(com: FloatArray, velocity: FloatArray, leg: FloatArray | float) -> FloatArray:
    """Return the extrapolated centre of mass x + v / w0, w0 = sqrt(g / leg).

    Hof 2008, Hum Mov Sci 27(1):112-125. Tells where the weight is going; not a share.
    """
    return np.asarray(com + velocity / np.sqrt(GRAVITY / np.asarray(leg))[..., None])


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


def foot_contact(
    time_s: FloatArray, heel: FloatArray, toe: FloatArray, floor_z: float, stature_m: float
) -> BoolArray:
    """Return per frame whether a foot carries load: low and slow at heel or toe.

    Parameters
    ----------
    time_s : ndarray, shape (T,)
    heel, toe : ndarray, shape (T, 3)
        Metres.
    floor_z : float
        Height at which heel or toe lies when the foot is on the floor.
    stature_m : float
        Sets the thresholds: 2.5 % of stature in height, 0.45 statures per second in speed
        (engineering choice, no source).
    """
    result = np.zeros(len(time_s), dtype=np.bool_)
    for point in (heel, toe):
        speed = np.sqrt(np.sum(np.square(np.gradient(point, time_s, axis=0)), axis=-1))
        with np.errstate(invalid="ignore"):
            low = point[:, 2] - floor_z < 0.025 * stature_m
            result |= low & (speed < 0.45 * stature_m)
    return result
