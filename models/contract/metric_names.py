"""The metrics by name: what a rule, a criterion or a focus may name.

The engine defines them (``workers.engine.metrics``); a test keeps both lists alike.
"""

from __future__ import annotations

from dataclasses import dataclass
from difflib import get_close_matches
from typing import Annotated

from pydantic import AfterValidator, WithJsonSchema

from models.contract.vocabulary import EventName


@dataclass(frozen=True, slots=True)
class MetricFacts:
    """Unit of a metric and the events it is taken at; no event = of the whole serve."""

    unit: str
    events: tuple[EventName, ...] = ()


METRICS: dict[str, MetricFacts] = {
    "elbow_flexion": MetricFacts(
        "deg", (EventName.TROPHY, EventName.RACKET_LOW, EventName.CONTACT)
    ),
    "shoulder_elevation": MetricFacts("deg", (EventName.TROPHY, EventName.CONTACT)),
    "tossing_arm_elevation": MetricFacts("deg", (EventName.RELEASE, EventName.TROPHY)),
    "contact_height_ratio": MetricFacts("1", (EventName.CONTACT,)),
    "contact_forward": MetricFacts("m", (EventName.CONTACT,)),
    "toss_release_height": MetricFacts("1", (EventName.RELEASE,)),
    "throw_elevation": MetricFacts("deg", (EventName.CONTACT,)),
    "rear_hip_drop": MetricFacts("1", (EventName.LOADING,)),
    "rear_hip_setback": MetricFacts("1", (EventName.LOADING,)),
    "front_hip_advance": MetricFacts("1", (EventName.LOADING,)),
    "front_knee_flexion": MetricFacts(
        "deg", (EventName.TROPHY, EventName.LOADING, EventName.CONTACT)
    ),
    "front_knee_extension_speed": MetricFacts("deg/s"),
    "rear_knee_flexion": MetricFacts(
        "deg", (EventName.TROPHY, EventName.LOADING, EventName.CONTACT)
    ),
    "rear_knee_extension_speed": MetricFacts("deg/s"),
    "leg_drive_speed": MetricFacts("m/s"),
    "wrist_speed_peak": MetricFacts("m/s"),
    "sequence_pelvis": MetricFacts("ms"),
    "sequence_trunk": MetricFacts("ms"),
    "sequence_upper_arm": MetricFacts("ms"),
    "sequence_forearm": MetricFacts("ms"),
    "sequence_gap_pelvis_trunk": MetricFacts("ms"),
    "sequence_gap_trunk_upper_arm": MetricFacts("ms"),
    "sequence_gap_upper_arm_forearm": MetricFacts("ms"),
    "sequence_proximal_to_distal": MetricFacts("1"),
    "pelvis_rotation_speed_peak": MetricFacts("deg/s"),
    "trunk_rotation_speed_peak": MetricFacts("deg/s"),
    "tempo": MetricFacts("s"),
    "tempo_set_up_release": MetricFacts("s"),
    "tempo_release_trophy": MetricFacts("s"),
    "tempo_trophy_contact": MetricFacts("s"),
    "shoulder_line_tilt": MetricFacts("deg", (EventName.TROPHY, EventName.CONTACT)),
    "trunk_inclination": MetricFacts("deg", (EventName.TROPHY, EventName.CONTACT)),
    "trunk_lateral_tilt": MetricFacts("deg", (EventName.TROPHY, EventName.CONTACT)),
    "trunk_backward_tilt": MetricFacts("deg", (EventName.TROPHY, EventName.CONTACT)),
    "shoulder_over_shoulder": MetricFacts("deg"),
    "pelvis_turn": MetricFacts("deg", (EventName.LOADING,)),
    "pelvis_turn_peak": MetricFacts("deg"),
    "pelvis_turn_absolute": MetricFacts("deg", (EventName.LOADING,)),
    "shoulder_turn": MetricFacts("deg", (EventName.LOADING,)),
    "shoulder_turn_peak": MetricFacts("deg"),
    "shoulder_turn_absolute": MetricFacts("deg", (EventName.LOADING,)),
    "knee_turn": MetricFacts("deg", (EventName.LOADING,)),
    "knee_turn_peak": MetricFacts("deg"),
    "knee_turn_absolute": MetricFacts("deg", (EventName.LOADING,)),
    "turn_to_bend_ratio": MetricFacts("1", (EventName.LOADING,)),
    "hip_shoulder_separation": MetricFacts("deg", (EventName.TROPHY, EventName.LOADING)),
    "hip_shoulder_separation_peak": MetricFacts("deg"),
    "rear_foot_load_share": MetricFacts("1", (EventName.LOADING,)),
    "rear_foot_load_share_foot_centre": MetricFacts("1", (EventName.LOADING,)),
    "rear_foot_load_share_dynamic": MetricFacts("1", (EventName.LOADING,)),
    "rear_foot_load_share_peak": MetricFacts("1"),
    "most_loaded_before_contact": MetricFacts("s"),
    "rear_load_time_60": MetricFacts("s"),
    "hold_rear_load_time_60": MetricFacts("s"),
    "hold_rear_foot_load_share": MetricFacts("1"),
    "hold_duration": MetricFacts("s"),
}


def metric_name(key: str, event: EventName | None) -> str:
    """Return key and event in one word: ``elbow_flexion@contact``."""
    return key if event is None else f"{key}@{event.value}"


METRIC_NAMES: tuple[str, ...] = tuple(
    name
    for key, facts in METRICS.items()
    for name in (key, *(metric_name(key, event) for event in facts.events))
)
"""Every metric by its key alone (at all its events), and at each of its events."""


def _one_of(names: tuple[str, ...], name: str) -> str:
    if name not in names:
        near = get_close_matches(name, names, 3) or names
        raise ValueError(f"no metric is called {name}; there are {', '.join(near)}")
    return name


def known_key(key: str) -> str:
    """Return a metric's key. Raises ``ValueError`` that names the nearest ones."""
    return _one_of(tuple(METRICS), key)


def known_name(name: str) -> str:
    """Return a metric's key or ``key@event``. Raises ``ValueError`` that names the nearest ones."""
    return _one_of(METRIC_NAMES, name)


KnownKey = Annotated[
    str, AfterValidator(known_key), WithJsonSchema({"type": "string", "enum": list(METRICS)})
]
"""A metric by its key."""
KnownName = Annotated[
    str, AfterValidator(known_name), WithJsonSchema({"type": "string", "enum": list(METRIC_NAMES)})
]
"""A metric by its key at all its events, or at one: ``elbow_flexion@contact``."""


def check_condition(key: str, event: EventName | None, unit: str) -> None:
    """Raise ``ValueError`` where a condition could never be met: no such event, another unit."""
    facts = METRICS[key]
    if event is not None and event not in facts.events:
        taken = ", ".join(facts.events) or "no event: leave it out"
        raise ValueError(f"{key} is not taken at {event.value}; it is taken at {taken}")
    if unit != facts.unit:
        raise ValueError(f"{key} is in {facts.unit}, not in {unit}")
