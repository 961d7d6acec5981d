"""Measures of a posed body that postures are solved for."""

from __future__ import annotations

import numpy as np

from . import truth_formulas as truth
from .pose import Body
from .posture_solver import Measure
from .rotation import Array


def metric(name: str, gender: float) -> Measure:
    """A per-frame truth metric as a measure of a posed body."""
    formula = truth.POSTURE[name]
    return lambda body: formula(body.points, gender)


def lean(body: Body) -> Array:
    """Inclination of the trunk to the net, degrees."""
    return truth.lean_to_net(body.points["mid_hip"], truth.mid_shoulder(body.points))


def side_lean(body: Body) -> Array:
    """Inclination of the trunk to the left, degrees."""
    return truth.lean_to_left(body.points["mid_hip"], truth.mid_shoulder(body.points))


def balance_offset(gender: float) -> Measure:
    """Distance of the centre of mass to the left of the line rear ankle -> front ankle, metres."""

    def measure(body: Body) -> Array:
        p = body.points
        com = truth.centre_of_mass(truth.segment_ends(p), gender)
        line = (p["L_ankle"] - p["R_ankle"])[..., :2]
        line = line / np.linalg.norm(line, axis=-1, keepdims=True)
        off = (com - p["R_ankle"])[..., :2]
        return np.asarray(line[..., 0] * off[..., 1] - line[..., 1] * off[..., 0])

    return measure


def mean_knee(gender: float) -> Measure:
    """Mean flexion of both knees, degrees."""
    front, rear = metric("front_knee_flexion", gender), metric("rear_knee_flexion", gender)
    return lambda body: 0.5 * (front(body) + rear(body))


def straighter_knee(gender: float) -> Measure:
    """Flexion of the straighter knee, degrees."""
    front, rear = metric("front_knee_flexion", gender), metric("rear_knee_flexion", gender)
    return lambda body: np.minimum(front(body), rear(body))


def racket_lean(body: Body) -> Array:
    """Inclination of the racket to the net, degrees."""
    axis = -body.frames["racket"][..., 2]
    return np.degrees(np.arctan2(axis[..., 0], axis[..., 2]))


def racket_side(body: Body) -> Array:
    """Inclination of the racket to the left, degrees."""
    axis = -body.frames["racket"][..., 2]
    return np.degrees(np.arctan2(axis[..., 1], axis[..., 2]))
