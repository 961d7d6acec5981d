"""Knobs that are turned alone, to see what a comparison says of two serves of one body."""

from __future__ import annotations

from dataclasses import dataclass

from .knobs import ServeKnobs

Key = tuple[str, str | None]


@dataclass(frozen=True)
class Knob:
    """Values of a serve that are turned together, and what measures them.

    Attributes
    ----------
    steps : tuple of (str, float)
        Field of `ServeKnobs`, and how far it is turned.
    middle : float
        Below it the first field is turned up, else down, so that it stays within its range.
    metrics : frozenset of Key
        The metrics that measure it directly.
    views : tuple of str
        Where (`profiles.VIEWS`) a coach who works on it films from.
    """

    name: str
    steps: tuple[tuple[str, float], ...]
    middle: float
    metrics: frozenset[Key]
    views: tuple[str, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """Its metrics, as a comparison's focus names them."""
        return tuple(sorted("@".join(filter(None, metric)) for metric in self.metrics))


def _one(
    name: str, step: float, middle: float, metrics: str, views: tuple[str, ...], *more: str
) -> Knob:
    keys = (metric.partition("@") for metric in metrics.split())
    own = frozenset((key, event or None) for key, _, event in keys)
    return Knob(name, tuple((field, step) for field in (more or (name,))), middle, own, views)


_SIDE = ("side", "rear-quarter")
_TURN = ("side", "rear-quarter", "behind")
_BACK = ("rear-quarter", "behind")
KNOBS: tuple[Knob, ...] = (
    _one("elbow_contact", 28.0, 26.0, "elbow_flexion@contact", ("behind", "rear-quarter")),
    _one("elbow_trophy", 35.0, 91.0, "elbow_flexion@trophy", _BACK),
    _one(
        "contact_tilt",
        22.0,
        32.0,
        "shoulder_line_tilt@contact shoulder_over_shoulder",
        ("behind", "side"),
    ),
    _one(
        "shoulder_tilt",
        20.0,
        22.0,
        "shoulder_line_tilt@trophy shoulder_over_shoulder",
        ("side", "behind"),
    ),
    _one("rear_share", 0.22, 0.54, "rear_foot_load_share@loading", _SIDE),
    _one(
        "separation",
        22.0,
        18.0,
        "hip_shoulder_separation@trophy hip_shoulder_separation@loading",
        _TURN,
    ),
    _one(
        "knees",
        24.0,
        60.0,
        "front_knee_flexion@trophy rear_knee_flexion@trophy front_knee_flexion@loading "
        "rear_knee_flexion@loading",
        _SIDE,
        "knee_front",
        "knee_rear",
    ),
    _one(
        "pelvis_turn",
        22.0,
        96.0,
        "pelvis_turn@loading pelvis_turn_absolute@loading pelvis_turn_peak",
        _TURN,
    ),
    _one("drive", 0.12, 0.41, "tempo_trophy_contact", _SIDE),
    _one(
        "contact_lean", 14.0, 22.0, "trunk_backward_tilt@contact trunk_inclination@contact", _SIDE
    ),
    _one("trophy_lean", 14.0, 8.0, "trunk_backward_tilt@trophy trunk_inclination@trophy", _SIDE),
    _one("tempo", 0.35, 1.1, "tempo tempo_release_trophy", _SIDE),
)
"""What a coach changes: weight, turn, bend, lean, rhythm, drive; and two of the hitting arm."""


def turned(knobs: ServeKnobs, knob: Knob) -> ServeKnobs:
    """The same serve with one knob turned, toward the middle of its range."""
    sign = 1.0 if getattr(knobs, knob.steps[0][0]) < knob.middle else -1.0
    return knobs.changed(
        **{field: getattr(knobs, field) + sign * step for field, step in knob.steps}
    )
