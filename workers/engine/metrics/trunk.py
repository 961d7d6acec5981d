"""Trunk and shoulder line: how they lean at trophy and contact."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from models.contract.tracks import FloatArray
from models.contract.vocabulary import EventName
from workers.engine.geometry import elevation, inclination
from workers.engine.metrics.spec import LOADED, SERVES, MetricSpec
from workers.engine.samples import Pose, Samples

_REFERENCE = {
    EventName.TROPHY: "25.0 ± 7.1 deg from the vertical at trophy, pooled over studies (Front "
    "Sports Act Living 2024, doi 10.3389/fspor.2024.1432030).",
    EventName.CONTACT: "48 deg above the horizontal = 42 deg from the vertical, world-class "
    "players (Sports Biomech 2003, 2(1):51-64).",
}
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


def _tilt_at(event: EventName) -> Callable[[Samples], FloatArray]:
    def compute(body: Samples) -> FloatArray:
        return shoulder_tilt(body.pose(event))

    compute.__doc__ = (
        f"Elevation of the front over the hitting shoulder joint centre at {event.value}, deg "
        "above the horizontal; front shoulder higher = positive."
    )
    return compute


def _inclination_at(event: EventName) -> Callable[[Samples], FloatArray]:
    def compute(body: Samples) -> FloatArray:
        pose = body.pose(event)
        return inclination(pose.mid("hip"), pose.mid("shoulder"))

    compute.__doc__ = (
        f"Angle between the trunk axis (mid-hip to mid-shoulder) and the vertical at "
        f"{event.value}, deg, unsigned."
    )
    return compute


def _part_at(event: EventName, axis: int, sign: int, doc: str) -> Callable[[Samples], FloatArray]:
    def compute(body: Samples) -> FloatArray:
        pose = body.pose(event)
        axis_vector = pose.mid("shoulder") - pose.mid("hip")
        return np.asarray(
            np.degrees(np.arctan2(sign * axis_vector[..., axis], axis_vector[..., 2]))
        )

    compute.__doc__ = doc
    return compute


def _specs(event: EventName) -> tuple[MetricSpec, ...]:
    kinds = LOADED if event is EventName.TROPHY else SERVES
    lateral = (
        f"Lean of the trunk axis across the target line at {event.value}, deg from the vertical; "
        "positive toward the tossing side."
    )
    backward = (
        f"Lean of the trunk axis along the target line at {event.value}, deg from the vertical; "
        "positive away from the target."
    )
    return (
        MetricSpec(
            "shoulder_line_tilt",
            "Shoulder-line tilt",
            "deg",
            event,
            _tilt_at(event),
            kinds=kinds,
            tolerance=4.5,
        ),
        MetricSpec(
            "trunk_inclination",
            "Trunk inclination",
            "deg",
            event,
            _inclination_at(event),
            kinds=kinds,
            reference=_REFERENCE[event],
            tolerance=4.5,
            lowest=0.0,
        ),
        MetricSpec(
            "trunk_lateral_tilt",
            "Trunk lean to the tossing side",
            "deg",
            event,
            _part_at(event, 1, 1, lateral),
            kinds=kinds,
            tolerance=6.0,
        ),
        MetricSpec(
            "trunk_backward_tilt",
            "Trunk lean away from the target",
            "deg",
            event,
            _part_at(event, 0, -1, backward),
            kinds=kinds,
            tolerance=6.0,
        ),
    )


METRICS = (
    *_specs(EventName.TROPHY),
    *_specs(EventName.CONTACT),
    MetricSpec(
        "shoulder_over_shoulder",
        "Shoulder over shoulder",
        "deg",
        None,
        shoulder_over_shoulder,
        uses=_EVENTS,
        tolerance=7.0,
    ),
)
