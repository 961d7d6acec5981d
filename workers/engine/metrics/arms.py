"""Hitting and tossing arm: elbow, shoulder elevation, contact point, toss, throw."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from models.contract.tracks import FloatArray
from models.contract.vocabulary import EventName
from workers.engine.geometry import angle_between, elevation, flexion, norm
from workers.engine.metrics.spec import LOADED, SERVES, SWINGS, THROWS, MetricSpec, Need
from workers.engine.samples import Samples

_ELBOW = {
    EventName.RACKET_LOW: "104 deg at the cocked position, world-class players (Sports Biomech "
    "2003, 2(1):51-64).",
    EventName.CONTACT: "30.1 ± 15.9 deg at impact, pooled over studies (Front Sports Act Living "
    "2024, doi 10.3389/fspor.2024.1432030).",
}
_ELEVATION = {
    EventName.CONTACT: "110.7 ± 16.9 deg at impact, pooled over studies (Front Sports Act "
    "Living 2024, doi 10.3389/fspor.2024.1432030).",
}
RACKET_REFERENCE = (
    "Racket impact height 1.49 ± 0.03 of standing height in elite, 1.43 ± 0.05 in beginners "
    "(Med Sci Sports Exerc 2005, 37(6):1021-1029); the wrist is about half a metre lower."
)


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


def _elbow_at(event: EventName) -> Callable[[Samples], FloatArray]:
    def compute(body: Samples) -> FloatArray:
        pose = body.pose(event)
        return flexion(*(pose.joint(f"hitting_{j}") for j in ("shoulder", "elbow", "wrist")))

    compute.__doc__ = (
        f"Flexion of the hitting elbow at {event.value}: 180 deg minus the angle "
        "shoulder-elbow-wrist; 0 = straight."
    )
    return compute


def _shoulder_at(event: EventName) -> Callable[[Samples], FloatArray]:
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


def _tossing_at(event: EventName) -> Callable[[Samples], FloatArray]:
    def compute(body: Samples) -> FloatArray:
        pose = body.pose(event)
        return elevation(pose.joint("tossing_shoulder"), pose.joint("tossing_wrist"))

    compute.__doc__ = (
        f"Elevation of the tossing arm (shoulder to wrist) above the horizontal at "
        f"{event.value}, deg."
    )
    return compute


METRICS = (
    *(
        MetricSpec(
            "elbow_flexion",
            "Hitting elbow flexion",
            "deg",
            event,
            _elbow_at(event),
            kinds=LOADED if event is EventName.TROPHY else SERVES,
            reference=_ELBOW.get(event),
            tolerance=9.0,
            lowest=0.0,
        )
        for event in (EventName.TROPHY, EventName.RACKET_LOW, EventName.CONTACT)
    ),
    *(
        MetricSpec(
            "shoulder_elevation",
            "Hitting arm elevation",
            "deg",
            event,
            _shoulder_at(event),
            kinds=LOADED if event is EventName.TROPHY else SERVES,
            reference=_ELEVATION.get(event),
            tolerance=9.0,
        )
        for event in (EventName.TROPHY, EventName.CONTACT)
    ),
    *(
        MetricSpec(
            "tossing_arm_elevation",
            "Tossing arm elevation",
            "deg",
            event,
            _tossing_at(event),
            kinds=LOADED if event is EventName.TROPHY else SERVES,
            tolerance=12.0,
        )
        for event in (EventName.RELEASE, EventName.TROPHY)
    ),
    MetricSpec(
        "contact_height_ratio",
        "Wrist height at contact",
        "1",
        EventName.CONTACT,
        contact_height_ratio,
        kinds=SWINGS,
        reference=RACKET_REFERENCE,
        tolerance=0.03,
    ),
    MetricSpec(
        "contact_forward",
        "Wrist ahead of the front foot at contact",
        "m",
        EventName.CONTACT,
        contact_forward,
        frozenset({Need.FEET, Need.STATURE}),
        reference="Flat serves about 0.17 m farther into the court than kick serves "
        "(Sports Med Open 2021, doi 10.1186/s40798-020-00295-2).",
        tolerance=0.1,
    ),
    MetricSpec(
        "toss_release_height",
        "Tossing wrist height at release",
        "1",
        EventName.RELEASE,
        toss_release_height,
        tolerance=0.06,
    ),
    MetricSpec(
        "throw_elevation",
        "Throw: upward direction of the hand",
        "deg",
        EventName.CONTACT,
        throw_elevation,
        frozenset({Need.FAST}),
        kinds=THROWS,
        min_fps=50.0,
        tolerance=12.0,
    ),
)
