"""Turns about the vertical: pelvis, shoulders, knees, and the separation between them.

Turn counts from set-up, positive away from the target (coiling). ``..._absolute`` counts from
the target line instead (0 = chest to the net, 90 = side-on) and needs the target direction.
"""

from __future__ import annotations

import numpy as np

from models.contract.skeleton import CANONICAL_BODY
from models.contract.tracks import FloatArray
from models.contract.vocabulary import EventName
from workers.engine.geometry import line_turn, separation, unwrap, wrap180
from workers.engine.metrics.legs import mean_knee_flexion
from workers.engine.metrics.spec import AtEvent, Formula, Formulas
from workers.engine.samples import Pose, Samples

_LINE = {"pelvis": "hip", "shoulder": "shoulder", "knee": "knee"}
_ENDS = ("rear_hip", "front_hip", "hitting_shoulder", "tossing_shoulder")


def absolute_turn(pose: Pose, part: str) -> FloatArray:
    """Return the turn of a body line against the target, deg, shape (S,)."""
    front, rear = CANONICAL_BODY.both(_LINE[part])
    return line_turn(pose.joint(rear), pose.joint(front))


def turn_between(body: Samples, part: str, first: EventName, last: EventName) -> FloatArray:
    """Return the turn of a body line from one event to another, deg, away from the target = +."""
    return wrap180(absolute_turn(body.pose(last), part) - absolute_turn(body.pose(first), part))


def turn_to_bend_ratio(body: Samples) -> FloatArray:
    """Degrees of pelvis turn per degree of mean knee flexion gained, set-up to loading.

    High = a coil, near zero = a squat. Undefined where the knees bend by less than 10 deg.
    """
    turned = turn_between(body, "pelvis", EventName.SET_UP, EventName.LOADING)
    bent = mean_knee_flexion(body.pose(EventName.LOADING)) - mean_knee_flexion(
        body.pose(EventName.SET_UP)
    )
    return np.asarray(turned / np.where(bent >= 10.0, bent, np.nan))


def hip_shoulder_separation_peak(body: Samples) -> FloatArray:
    """Largest shoulder turn minus pelvis turn between release and contact, deg."""
    mask = body.between(EventName.RELEASE, EventName.CONTACT)
    return body.extreme(separation(*(body.path(name) for name in _ENDS)), mask)[0]


def _separation_at(event: EventName) -> Formula:
    def compute(body: Samples) -> FloatArray:
        pose = body.pose(event)
        return separation(*(pose.joint(name) for name in _ENDS))

    compute.__doc__ = (
        f"Shoulder turn minus pelvis turn at {event.value}, both on the horizontal plane, deg.\n\n"
        "Positive = shoulders turned farther from the target than the pelvis."
    )
    return compute


def _turn_at_loading(part: str) -> Formula:
    def compute(body: Samples) -> FloatArray:
        return turn_between(body, part, EventName.SET_UP, EventName.LOADING)

    compute.__doc__ = (
        f"Turn of the {part} line about the vertical from set-up to loading, deg; positive away "
        "from the target (coiling)."
    )
    return compute


def _turn_peak(part: str) -> Formula:
    def compute(body: Samples) -> FloatArray:
        front, rear = CANONICAL_BODY.both(_LINE[part])
        turn = unwrap(line_turn(body.path(rear), body.path(front)))
        start = body.at_instant(turn, body.when(EventName.SET_UP))
        mask = body.between(EventName.SET_UP, EventName.CONTACT)
        return np.asarray(body.extreme(turn, mask)[0] - start)

    compute.__doc__ = (
        f"Largest turn of the {part} line about the vertical after set-up and before contact, "
        "deg; positive away from the target (coiling)."
    )
    return compute


def _turn_absolute(part: str) -> Formula:
    def compute(body: Samples) -> FloatArray:
        return absolute_turn(body.pose(EventName.LOADING), part)

    compute.__doc__ = (
        f"Turn of the {part} line against the target at loading, deg: 0 = chest to the net, "
        "90 = side-on, more = back turned."
    )
    return compute


FORMULAS: Formulas = {
    "pelvis_turn": _turn_at_loading("pelvis"),
    "pelvis_turn_peak": _turn_peak("pelvis"),
    "pelvis_turn_absolute": _turn_absolute("pelvis"),
    "shoulder_turn": _turn_at_loading("shoulder"),
    "shoulder_turn_peak": _turn_peak("shoulder"),
    "shoulder_turn_absolute": _turn_absolute("shoulder"),
    "knee_turn": _turn_at_loading("knee"),
    "knee_turn_peak": _turn_peak("knee"),
    "knee_turn_absolute": _turn_absolute("knee"),
    "turn_to_bend_ratio": turn_to_bend_ratio,
    "hip_shoulder_separation": AtEvent(_separation_at),
    "hip_shoulder_separation_peak": hip_shoulder_separation_peak,
}
