"""Trunk and shoulder line: how they lean at trophy and contact."""

from __future__ import annotations

import numpy as np

from models.contract.tracks import FloatArray
from models.contract.vocabulary import EventName
from workers.engine.geometry import elevation, inclination
from workers.engine.metrics.spec import AtEvent, Formula, Formulas
from workers.engine.samples import Pose, Samples

_EVENTS = (EventName.TROPHY, EventName.CONTACT)


def shoulder_tilt(pose: Pose) -> FloatArray:
    """Return the elevation of the front over the hitting shoulder, deg; front higher = +."""
    return elevation(pose.joint("hitting_shoulder"), pose.joint("tossing_shoulder"))


def shoulder_over_shoulder(body: Samples) -> FloatArray:
    """Change of the shoulder-line tilt from trophy to contact, deg.

    Tilt at trophy minus tilt at contact: positive = the hitting shoulder comes over the front.
    """
    before, after = (shoulder_tilt(body.pose(event)) for event in _EVENTS)
    return np.asarray(before - after)


def _tilt_at(event: EventName) -> Formula:
    def compute(body: Samples) -> FloatArray:
        return shoulder_tilt(body.pose(event))

    compute.__doc__ = (
        f"Elevation of the front over the hitting shoulder joint centre at {event.value}, deg "
        "above the horizontal; front shoulder higher = positive."
    )
    return compute


def _inclination_at(event: EventName) -> Formula:
    def compute(body: Samples) -> FloatArray:
        pose = body.pose(event)
        return inclination(pose.mid("hip"), pose.mid("shoulder"))

    compute.__doc__ = (
        f"Angle between the trunk axis (mid-hip to mid-shoulder) and the vertical at "
        f"{event.value}, deg, unsigned."
    )
    return compute


def _lateral_at(event: EventName) -> Formula:
    def compute(body: Samples) -> FloatArray:
        return _lean(body.pose(event), 1, 1)

    compute.__doc__ = (
        f"Lean of the trunk axis across the target line at {event.value}, deg from the vertical; "
        "positive toward the tossing side."
    )
    return compute


def _backward_at(event: EventName) -> Formula:
    def compute(body: Samples) -> FloatArray:
        return _lean(body.pose(event), 0, -1)

    compute.__doc__ = (
        f"Lean of the trunk axis along the target line at {event.value}, deg from the vertical; "
        "positive away from the target."
    )
    return compute


def _lean(pose: Pose, axis: int, sign: int) -> FloatArray:
    axis_vector = pose.mid("shoulder") - pose.mid("hip")
    return np.asarray(np.degrees(np.arctan2(sign * axis_vector[..., axis], axis_vector[..., 2])))


FORMULAS: Formulas = {
    "shoulder_line_tilt": AtEvent(_tilt_at),
    "trunk_inclination": AtEvent(_inclination_at),
    "trunk_lateral_tilt": AtEvent(_lateral_at),
    "trunk_backward_tilt": AtEvent(_backward_at),
    "shoulder_over_shoulder": shoulder_over_shoulder,
}
