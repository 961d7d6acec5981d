"""How far the knees are bent and how low the pelvis is over time, as far as a film tells.

By definition the trophy position is where the mean of both knees' flexion is largest, and loading
where the middle of the hips is lowest, both between release and the racket's lowest point: they
are looked for on these curves themselves (`curve_peak`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from models.contract.skeleton import CANONICAL_BODY
from models.contract.tracks import BodyMotion, FloatArray
from workers.engine.geometry import flexion, norm
from workers.engine.heads import HeadPaths
from workers.engine.lift_layout import HEADS
from workers.engine.smoothing import local_fit

HALF_WIDTH_S = 0.035
"""Half window of the fits to joints, seconds (working value)."""
ALIKE = 0.35
"""Correlation of the errors of both knees' flexion (learned lift, simulated views: 0.09 to 0.35 by
the way of moving; the largest is taken, since intervals must hold)."""
PELVIS_SD = 0.006
"""Standard deviation of the pelvis' height on film as far as it changes within a serve, standing
heights (22 rendered films: 0.004 to 0.01)."""


@dataclass(frozen=True, slots=True)
class Curve:
    """A quantity over time (T,) and the standard deviation of its error, its own unit."""

    time_s: FloatArray
    mean: FloatArray
    sd: FloatArray


@dataclass(frozen=True, slots=True)
class Bend:
    """Mean flexion of both knees, degrees, and depth of the pelvis, standing heights, down."""

    knees: Curve
    depth: Curve


def bend_of(motion: BodyMotion) -> Bend:
    """Return the curves of joints in metres with their own standard deviations."""
    time = motion.time_s
    knees = _knees(motion)
    doubt = np.mean([_knee_sd(motion, side) for side in ("front", "rear")], axis=0) / np.sqrt(2.0)
    hips = list(CANONICAL_BODY.pair("hip"))
    depth_sd = np.sqrt(np.sum(motion.sd[:, hips, 2] ** 2, axis=1)) / 2.0 / motion.stature_m
    return Bend(Curve(time, knees, doubt), Curve(time, _depth(motion), depth_sd))


def film_bend(bodies: Sequence[BodyMotion], heads: HeadPaths | None) -> Bend:
    """Return the curves of a filmed body: the mean of what its methods say.

    The fit's knees and the angles that the learned lift answers err in unlike ways; heights of the
    pelvis are those of the mean body.

    Parameters
    ----------
    bodies : sequence of BodyMotion
        The same repetition by each method, as `film_bodies` orders them.
    heads : HeadPaths or None
    """
    first = bodies[0]
    mean = bodies[1] if len(bodies) > 1 else first
    depth = Curve(mean.time_s, _depth(mean), np.full(len(mean), PELVIS_SD))
    if heads is None:
        return Bend(bend_of(first).knees, depth)
    front, rear = (HEADS.index(f"{side}_knee") for side in ("front", "rear"))
    told = (heads.mean[:, front] + heads.mean[:, rear]) / 2.0
    one, two = heads.sd[:, front], heads.sd[:, rear]
    sd = np.sqrt(one**2 + two**2 + 2.0 * ALIKE * one * two) / 2.0
    fitted = np.interp(heads.time_s, first.time_s, _knees(first))
    return Bend(Curve(heads.time_s, (told + fitted) / 2.0, sd), depth)


def _smooth(motion: BodyMotion, name: str) -> FloatArray:
    return local_fit(motion.time_s, motion.joint(name), HALF_WIDTH_S)[0]


def _knees(motion: BodyMotion) -> FloatArray:
    joints = [[_smooth(motion, f"{side}_{j}") for j in _LEG] for side in ("front", "rear")]
    return np.asarray(np.mean([flexion(*leg) for leg in joints], axis=0))


def _depth(motion: BodyMotion) -> FloatArray:
    front, rear = (_smooth(motion, name) for name in CANONICAL_BODY.both("hip"))
    return np.asarray(-(front + rear)[:, 2] / 2.0 / motion.stature_m)


def _knee_sd(motion: BodyMotion, side: str) -> FloatArray:
    """Return the standard deviation of a knee's flexion, degrees: three joints' errors across
    thigh and shank.
    """
    hip, knee, ankle = (motion.joint(f"{side}_{j}") for j in _LEG)
    rows = [CANONICAL_BODY.index(f"{side}_{j}") for j in _LEG]
    across = np.sqrt(np.mean(motion.sd[:, rows] ** 2, axis=2)).T
    thigh, shank = 1.0 / norm(hip - knee), 1.0 / norm(knee - ankle)
    weights = np.stack([thigh, thigh + shank, shank])
    return np.asarray(np.degrees(np.sqrt(np.sum((weights * across) ** 2, axis=0))))


_LEG = ("hip", "knee", "ankle")
