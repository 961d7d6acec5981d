"""How body weight is shared between the feet, from the motion of the body.

An estimate from film, not a force plate. All shares are along the horizontal line from the rear to
the front `foot_point`. The *posture* share is the weight **over** a foot: where the centre of mass
lies. The *dynamic* share is the load **on** it: where the force of the floor acts. They are one
while the body does not accelerate.
"""

from __future__ import annotations

import numpy as np

from models.contract.tracks import FloatArray

GRAVITY = 9.81
"""m/s²."""

HEEL_UP = 0.023
"""A heel (or toe) this much higher than when the foot is flat bears nothing, share of standing
height (working value: 4 cm, tried at 3, 4, 6 and 10 on two adults walking over force plates)."""
FLAT, BALL, HEEL = 0.50, 0.75, 0.15
"""Where a foot presses on the floor, share of the way from heel to toe tip: flat, on the ball (the
metatarsal heads, from memory about 0.73 of the foot's length), on the heel (working values)."""


def foot_point(
    heel: FloatArray,
    toe: FloatArray,
    flat_rise_m: FloatArray | float,
    stature_m: FloatArray | float,
) -> FloatArray:
    """Return where a foot presses on the floor: its middle, its ball once the heel has left.

    Parameters
    ----------
    heel, toe : ndarray, shape (..., 3)
        Metres, z up.
    flat_rise_m : float or ndarray, shape (...)
        Height of the heel's point over the toe's while the foot is flat, metres.
    stature_m : float or ndarray, shape (...)
        Standing height, metres.

    Returns
    -------
    ndarray, shape (..., 3)
        NaN where heel or toe is unknown: the ankle cannot stand in for them, it lies a quarter of
        a foot further back (10 points of weight, two adults walking over force plates).
    """
    up = np.clip((heel[..., 2] - toe[..., 2] - flat_rise_m) / (HEEL_UP * stature_m), -1.0, 1.0)
    place = FLAT + np.where(up > 0, (BALL - FLAT) * up, (FLAT - HEEL) * up)
    return np.asarray(heel + place[..., None] * (toe - heel))


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
    com: FloatArray,
    acceleration: FloatArray,
    floor_z: FloatArray | float = 0.0,
    spin_rate: FloatArray | None = None,
) -> FloatArray:
    """Return where the ground force acts: by Newton and Euler, with z the height over the floor,

    ``x - (z a_x + H_y') / (g + a_z)`` and ``y - (z a_y - H_x') / (g + a_z)``.

    Parameters
    ----------
    com, acceleration : ndarray, shape (..., 3)
        Metres and m/s², z up.
    floor_z : float or ndarray, shape (...)
        Height of the floor, metres.
    spin_rate : ndarray, shape (..., 3), optional
        Rate of change H' of the angular momentum about the centre of mass, per mass, m²/s²
        (`workers.engine.mass.spin_rate`); without it a point mass.

    Returns
    -------
    ndarray, shape (..., 3)
        On the floor; NaN where the body is all but unloaded (vertical force under 0.2 of body
        weight), where the point is undefined.
    """
    support = GRAVITY + acceleration[..., 2]
    support = np.where(support > 0.2 * GRAVITY, support, np.nan)
    height = com[..., 2] - floor_z
    shift = height[..., None] * acceleration[..., :2]
    if spin_rate is not None:
        shift = shift + np.stack([spin_rate[..., 1], -spin_rate[..., 0]], axis=-1)
    shift = shift / support[..., None]
    floor = np.broadcast_to(np.asarray(floor_z, dtype=np.float64), height.shape)
    return np.concatenate([com[..., :2] - shift, floor[..., None]], axis=-1)


def dynamic_share(
    com: FloatArray,
    acceleration: FloatArray,
    rear: FloatArray,
    front: FloatArray,
    floor_z: FloatArray | float = 0.0,
    spin_rate: FloatArray | None = None,
) -> FloatArray:
    """Return the rear share of vertical force: static share of the zero-moment point."""
    return static_share(zero_moment_point(com, acceleration, floor_z, spin_rate), rear, front)


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
