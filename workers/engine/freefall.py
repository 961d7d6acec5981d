"""Free fall as a check on scale and time: whatever flies falls at 9.81 m/s².

A tossed ball gives metres per pixel, or, where the scale is known, tells whether the clip's clock
is right: slow-motion files played at another rate make gravity too small by the square of the
ratio.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.contract.skeleton import CANONICAL_BODY
from models.contract.tracks import BodyMotion, FloatArray
from models.contract.vocabulary import Sex
from workers.engine.load import GRAVITY
from workers.engine.mass import centre_of_mass

MIN_FLIGHT_FRAMES = 6
"""Fewest frames of a flight from which gravity is told (working value)."""
LONG_FLIGHT_S = 0.45
"""Nobody leaves the floor for longer in a serve: that would be a jump of a quarter of a metre."""
SLOWEST_FALL = 0.35
"""m/s²: less (more than five times slow motion) cannot be told from a body that stands."""
DOUBTFUL_RATIO = 0.4
"""Measured over true gravity under which the clock is doubted (a ratio of rates of 1.6)."""


@dataclass(frozen=True, slots=True)
class Fall:
    """A fitted acceleration and its standard deviation, in the unit of the data per s²."""

    acceleration: float
    sd: float
    count: int


def fit_fall(time_s: FloatArray, position: FloatArray) -> Fall:
    """Return the downward acceleration of a flying point.

    Parameters
    ----------
    time_s : ndarray, shape (N,)
    position : ndarray, shape (N,) or (N, 2)
        Downward position (one axis), or image position (two axes: the length of the
        acceleration vector is taken, so that camera roll does not matter). Any unit.

    Returns
    -------
    Fall
        The standard deviation follows from the residuals of the quadratic.

    Raises
    ------
    ValueError
        With fewer than three samples.
    """
    if len(time_s) < 3:
        raise ValueError("a fall needs at least three samples")
    t = time_s - time_s.mean()
    basis = np.stack([np.ones_like(t), t, t * t], axis=1)
    series = np.asarray(position, dtype=np.float64).reshape(len(t), -1)
    solution = np.linalg.lstsq(basis, series, rcond=None)[0]
    freedom = max(len(t) - 3, 1)
    noise = np.sqrt(np.sum((series - basis @ solution) ** 2, axis=0) / freedom)
    spread = 2.0 * noise * np.sqrt(np.linalg.inv(basis.T @ basis)[2, 2])
    acceleration = 2.0 * solution[2]
    if series.shape[1] == 1:
        return Fall(float(acceleration[0]), float(spread[0]), len(t))
    return Fall(float(np.hypot(*acceleration)), float(np.max(spread)), len(t))


def flight(motion: BodyMotion, floor_z: float) -> tuple[int, int] | None:
    """Return the rows of the longest stretch with both feet off the floor, or None.

    Off the floor: lowest of heels and toes more than 3 % of stature over it (engineering choice,
    no source).
    """
    names = (*CANONICAL_BODY.both("heel"), *CANONICAL_BODY.both("toe"))
    lowest = np.min(np.stack([motion.joint(name)[:, 2] for name in names]), axis=0)
    with np.errstate(invalid="ignore"):
        off = lowest - floor_z > 0.03 * motion.stature_m
    edges = np.flatnonzero(np.diff(np.concatenate([[0], off.astype(np.int8), [0]])))
    if edges.size == 0:
        return None
    starts, stops = edges[::2], edges[1::2]
    longest = int(np.argmax(stops - starts))
    return int(starts[longest]), int(stops[longest])


def body_fall(motion: BodyMotion, floor_z: float, sex: Sex) -> Fall | None:
    """Return the fall of the centre of mass in a long flight, m/s², or None without one.

    Short flights are too noisy to tell gravity; a clock that runs slow makes flights long.
    """
    rows = flight(motion, floor_z)
    if rows is None or rows[1] - rows[0] < MIN_FLIGHT_FRAMES:
        return None
    if motion.time_s[rows[1] - 1] - motion.time_s[rows[0]] < LONG_FLIGHT_S:
        return None
    time = motion.time_s[rows[0] : rows[1]]
    height = centre_of_mass(motion.joints[rows[0] : rows[1]], sex)[:, 2]
    curve = np.polyfit(time - time.mean(), height, 2)
    apex = -curve[1] / (2.0 * curve[0]) if curve[0] < 0 else np.inf
    # up and down again: a body that only sinks or rises is not in the air
    if abs(apex) > 0.3 * (time[-1] - time[0]):
        return None
    return fit_fall(time, -height)


def clock_doubtful(fall: Fall | None) -> bool:
    """Return whether a fall is clearly slower than gravity: the file may be slow motion."""
    if fall is None:
        return False
    slow = fall.acceleration + 3.0 * fall.sd < DOUBTFUL_RATIO * GRAVITY
    return slow and fall.acceleration - 3.0 * fall.sd > SLOWEST_FALL
