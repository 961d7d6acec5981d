"""Knobs that are turned alone, to see what a comparison says of two serves of one body."""

from __future__ import annotations

from dataclasses import dataclass

from .knobs import ServeKnobs

Key = tuple[str, str | None]


@dataclass(frozen=True)
class Knob:
    """A knob, how far it is turned, and the metrics that measure it directly."""

    name: str
    step: float
    metrics: frozenset[Key]


KNOBS: tuple[Knob, ...] = (
    Knob("elbow_contact", 28.0, frozenset({("elbow_flexion", "contact")})),
    Knob("elbow_trophy", 35.0, frozenset({("elbow_flexion", "trophy")})),
    Knob("contact_tilt", 22.0, frozenset({("shoulder_line_tilt", "contact")})),
    Knob("shoulder_tilt", 20.0, frozenset({("shoulder_line_tilt", "trophy")})),
    Knob("rear_share", 0.22, frozenset({("rear_foot_load_share", "loading")})),
    Knob("separation", 22.0, frozenset({("hip_shoulder_separation", "trophy")})),
)


def turned(knobs: ServeKnobs, knob: Knob) -> ServeKnobs:
    """The same serve with one knob turned, toward the middle of its range."""
    middle = {"rear_share": 0.54, "elbow_contact": 26, "elbow_trophy": 91, "separation": 18}
    middle |= {"contact_tilt": 32, "shoulder_tilt": 22}
    value = getattr(knobs, knob.name)
    step = knob.step if value < middle[knob.name] else -knob.step
    return knobs.changed(**{knob.name: value + step})
