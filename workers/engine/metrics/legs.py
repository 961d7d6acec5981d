"""Knees: flexion at trophy, loading and contact, extension speed, and the drive upward."""

from __future__ import annotations

from functools import partial

import numpy as np

from models.contract.tracks import FloatArray
from models.contract.vocabulary import EventName
from workers.engine.geometry import flexion
from workers.engine.metrics.spec import AtEvent, Formula, Formulas
from workers.engine.samples import Pose, Samples


def knee_flexion(pose: Pose, side: str) -> FloatArray:
    """Return 180 deg minus the hip-knee-ankle angle of the front or rear leg, shape (S,).

    0 = straight.
    """
    return flexion(
        pose.joint(f"{side}_hip"), pose.joint(f"{side}_knee"), pose.joint(f"{side}_ankle")
    )


def mean_knee_flexion(pose: Pose) -> FloatArray:
    """Return the mean flexion of both knees, deg, shape (S,)."""
    return np.asarray((knee_flexion(pose, "front") + knee_flexion(pose, "rear")) / 2.0)


def knee_flexion_path(body: Samples, side: str) -> FloatArray:
    """Return the knee flexion over time, deg, shape (S, T)."""
    return flexion(body.path(f"{side}_hip"), body.path(f"{side}_knee"), body.path(f"{side}_ankle"))


def leg_drive_speed(body: Samples) -> FloatArray:
    """Peak upward speed of the pelvis (mid-hip) between loading and contact, m/s."""
    speed = body.derivative(body.mid_path("hip"))[..., 2]
    return body.extreme(speed, body.between(EventName.LOADING, EventName.CONTACT))[0]


def _flexion_at(which: str, event: EventName) -> Formula:
    def compute(body: Samples) -> FloatArray:
        return knee_flexion(body.pose(event), which)

    compute.__doc__ = (
        f"Flexion of the {which} knee at {event.value}: 180 deg minus the angle hip-knee-ankle "
        "(joint centres); 0 = straight."
    )
    return compute


def _extension_speed(which: str) -> Formula:
    def compute(body: Samples) -> FloatArray:
        path = knee_flexion_path(body, which)[..., None]
        mask = body.between(EventName.LOADING, EventName.CONTACT)
        return body.extreme(-body.derivative(path)[..., 0], mask)[0]

    compute.__doc__ = (
        f"Peak speed at which the {which} knee straightens between loading and contact, deg/s."
    )
    return compute


FORMULAS: Formulas = {
    "front_knee_flexion": AtEvent(partial(_flexion_at, "front")),
    "front_knee_extension_speed": _extension_speed("front"),
    "rear_knee_flexion": AtEvent(partial(_flexion_at, "rear")),
    "rear_knee_extension_speed": _extension_speed("rear"),
    "leg_drive_speed": leg_drive_speed,
}
