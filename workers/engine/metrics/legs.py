"""Knees: flexion at trophy, loading and contact, extension speed, and the drive upward."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from models.contract.tracks import FloatArray
from models.contract.vocabulary import EventName
from workers.engine.geometry import flexion
from workers.engine.metrics.spec import LOADED, SERVES, MetricSpec, Need
from workers.engine.samples import Pose, Samples

FEET = frozenset({Need.FEET})
FRONT_TROPHY = (
    "64.5 ± 9.7 deg at trophy, pooled over studies (Front Sports Act Living 2024, "
    "doi 10.3389/fspor.2024.1432030)."
)
_REFERENCE = {
    ("front", EventName.TROPHY): FRONT_TROPHY,
    ("front", EventName.LOADING): "Peak 69.2 deg, 8 collegiate men (thesis, Cardiff 2013).",
    ("rear", EventName.LOADING): "Peak 78.5 deg, 8 collegiate men (thesis, Cardiff 2013).",
    ("front", EventName.CONTACT): "Slightly flexed (Sports Biomech 2003, 2(1):51-64).",
}


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


def _flexion_at(which: str, event: EventName) -> Callable[[Samples], FloatArray]:
    def compute(body: Samples) -> FloatArray:
        return knee_flexion(body.pose(event), which)

    compute.__doc__ = (
        f"Flexion of the {which} knee at {event.value}: 180 deg minus the angle hip-knee-ankle "
        "(joint centres); 0 = straight."
    )
    return compute


def _extension_speed(which: str) -> Callable[[Samples], FloatArray]:
    def compute(body: Samples) -> FloatArray:
        path = knee_flexion_path(body, which)[..., None]
        mask = body.between(EventName.LOADING, EventName.CONTACT)
        return body.extreme(-body.derivative(path)[..., 0], mask)[0]

    compute.__doc__ = (
        f"Peak speed at which the {which} knee straightens between loading and contact, deg/s."
    )
    return compute


def _specs(which: str) -> tuple[MetricSpec, ...]:
    title = f"{which.capitalize()} knee"
    flexions = tuple(
        MetricSpec(
            f"{which}_knee_flexion",
            f"{title} flexion",
            "deg",
            event,
            _flexion_at(which, event),
            FEET,
            kinds=LOADED if event is EventName.LOADING else SERVES,
            reference=_REFERENCE.get((which, event)),
            tolerance=6.0,
            lowest=0.0,
        )
        for event in (EventName.TROPHY, EventName.LOADING, EventName.CONTACT)
    )
    return (
        *flexions,
        MetricSpec(
            f"{which}_knee_extension_speed",
            f"{title} extension speed",
            "deg/s",
            None,
            _extension_speed(which),
            FEET,
            (EventName.LOADING, EventName.CONTACT),
            min_fps=50.0,
            tolerance=120.0,
        ),
    )


METRICS = (
    *_specs("front"),
    *_specs("rear"),
    MetricSpec(
        "leg_drive_speed",
        "Upward speed of the pelvis, peak",
        "m/s",
        None,
        leg_drive_speed,
        frozenset({Need.STATURE}),
        (EventName.LOADING, EventName.CONTACT),
        tolerance=0.3,
    ),
)
