"""Hitting and tossing arm: elbow, shoulder elevation, contact point, toss, throw."""

from __future__ import annotations

import numpy as np

from models.contract.tracks import FloatArray
from models.contract.vocabulary import EventName
from workers.engine.geometry import angle_between, elevation, flexion, norm
from workers.engine.metrics.spec import AtEvent, Formula, Formulas
from workers.engine.samples import Samples


def contact_height_ratio(body: Samples) -> FloatArray:
    """Height of the hitting wrist over the floor at contact, in standing heights."""
    wrist = body.pose(EventName.CONTACT).joint("hitting_wrist")
    return np.asarray((wrist[..., 2] - body.floor_z) / body.stature_m)


def contact_forward(body: Samples) -> FloatArray:
    """How far the hitting wrist is ahead of the front ankle at contact, m; to the target = +."""
    pose = body.pose(EventName.CONTACT)
    return np.asarray(pose.joint("hitting_wrist")[..., 0] - pose.joint("front_ankle")[..., 0])


def toss_release_height(body: Samples) -> FloatArray:
    """Height of the tossing wrist over the floor at release, in standing heights."""
    wrist = body.pose(EventName.RELEASE).joint("tossing_wrist")
    return np.asarray((wrist[..., 2] - body.floor_z) / body.stature_m)


def throw_elevation(body: Samples) -> FloatArray:
    """Direction of the throwing hand's velocity at release, deg above the horizontal.

    At the fastest instant of the wrist within 0.12 s before its highest point: the throw drill
    asks for up, not only forward.
    """
    velocity = body.derivative(body.path("hitting_wrist"))
    speed = norm(velocity)
    mask = body.between(EventName.CONTACT, EventName.CONTACT, before_s=0.12)
    _, when = body.extreme(speed, mask)
    at_release = body.at_instant(velocity, when)
    return elevation(np.zeros_like(at_release), at_release)


def _elbow_at(event: EventName) -> Formula:
    def compute(body: Samples) -> FloatArray:
        pose = body.pose(event)
        return flexion(*(pose.joint(f"hitting_{j}") for j in ("shoulder", "elbow", "wrist")))

    compute.__doc__ = (
        f"Flexion of the hitting elbow at {event.value}: 180 deg minus the angle "
        "shoulder-elbow-wrist; 0 = straight."
    )
    return compute


def _shoulder_at(event: EventName) -> Formula:
    def compute(body: Samples) -> FloatArray:
        pose = body.pose(event)
        arm = pose.joint("hitting_elbow") - pose.joint("hitting_shoulder")
        return angle_between(arm, pose.mid("hip") - pose.mid("shoulder"))

    compute.__doc__ = (
        f"Elevation of the hitting upper arm against the trunk at {event.value}: angle between "
        "shoulder-elbow and mid-shoulder-mid-hip, deg; 0 = arm along the trunk, 90 = "
        "perpendicular."
    )
    return compute


def _tossing_at(event: EventName) -> Formula:
    def compute(body: Samples) -> FloatArray:
        pose = body.pose(event)
        return elevation(pose.joint("tossing_shoulder"), pose.joint("tossing_wrist"))

    compute.__doc__ = (
        f"Elevation of the tossing arm (shoulder to wrist) above the horizontal at "
        f"{event.value}, deg."
    )
    return compute


FORMULAS: Formulas = {
    "elbow_flexion": AtEvent(_elbow_at),
    "shoulder_elevation": AtEvent(_shoulder_at),
    "tossing_arm_elevation": AtEvent(_tossing_at),
    "contact_height_ratio": contact_height_ratio,
    "contact_forward": contact_forward,
    "toss_release_height": toss_release_height,
    "throw_elevation": throw_elevation,
}
