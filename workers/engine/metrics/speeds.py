"""Wrist speed and the order of peak speeds from pelvis to forearm (the kinematic sequence)."""

from __future__ import annotations

import numpy as np

from models.contract.skeleton import CANONICAL_BODY
from models.contract.tracks import FloatArray
from models.contract.vocabulary import EventName
from workers.engine.geometry import line_turn, norm, unwrap
from workers.engine.metrics.spec import Formula, Formulas
from workers.engine.samples import Samples

_PARTS = ("pelvis", "trunk", "upper_arm", "forearm")


def wrist_speed_peak(body: Samples) -> FloatArray:
    """Peak speed of the hitting wrist from 0.4 s before to 0.05 s after contact, m/s.

    Sampled at the frame rate and smoothed over about 60 ms, so short peaks are read too low.
    """
    speed = norm(body.derivative(body.path("hitting_wrist")))
    mask = body.between(EventName.CONTACT, EventName.CONTACT, before_s=0.4, after_s=0.05)
    return body.extreme(speed, mask)[0]


def ball_speed(body: Samples) -> FloatArray:
    """Speed of the served ball just after contact, m/s.

    From the first pictures of its flight, with the drag over them by published coefficients.
    """
    return body.ball_speed


def part_speed(body: Samples, part: str) -> FloatArray:
    """Return the angular speed of a body part over time, deg/s, shape (S, T).

    Pelvis and trunk: rate of turn of the hip and shoulder line about the vertical, toward the
    target = positive. Upper arm and forearm: speed of the segment's direction in space.
    """
    key = ("part_speed", part)
    if key not in body._memory:
        if part in ("pelvis", "trunk"):
            front, rear = CANONICAL_BODY.both("hip" if part == "pelvis" else "shoulder")
            turn = unwrap(line_turn(body.path(rear), body.path(front)))
            body._memory[key] = -body.derivative(turn[..., None])[..., 0]
        else:
            ends = ("shoulder", "elbow") if part == "upper_arm" else ("elbow", "wrist")
            segment = body.path(f"hitting_{ends[1]}") - body.path(f"hitting_{ends[0]}")
            direction = segment / norm(segment)[..., None]
            body._memory[key] = np.degrees(norm(body.derivative(direction)))
    return body._memory[key]


def peak_time(body: Samples, part: str) -> FloatArray:
    """Return when a part is fastest between loading and contact, seconds, shape (S,)."""
    mask = body.between(EventName.LOADING, EventName.CONTACT)
    return body.extreme(part_speed(body, part), mask)[1]


def sequence_proximal_to_distal(body: Samples) -> FloatArray:
    """1 if pelvis, trunk, upper arm and forearm reach peak speed in that order, else 0."""
    times = np.stack([peak_time(body, part) for part in _PARTS])
    order = np.all(np.diff(times, axis=0) >= 0, axis=0)
    return np.where(np.isnan(times).any(axis=0), np.nan, order.astype(np.float64))


def _peak_at(part: str) -> Formula:
    def compute(body: Samples) -> FloatArray:
        return np.asarray(1e3 * (peak_time(body, part) - body.when(EventName.CONTACT)))

    compute.__doc__ = (
        f"When the {part.replace('_', ' ')} turns fastest between loading and contact, ms "
        "relative to contact (negative = before)."
    )
    return compute


def _gap(first: str, second: str) -> Formula:
    def compute(body: Samples) -> FloatArray:
        return np.asarray(1e3 * (peak_time(body, second) - peak_time(body, first)))

    compute.__doc__ = (
        f"Time from the peak speed of the {first.replace('_', ' ')} to that of the "
        f"{second.replace('_', ' ')}, ms; positive = proximal first."
    )
    return compute


def _peak_speed(part: str) -> Formula:
    def compute(body: Samples) -> FloatArray:
        mask = body.between(EventName.LOADING, EventName.CONTACT)
        return body.extreme(part_speed(body, part), mask)[0]

    compute.__doc__ = (
        f"Peak rate of turn of the {part} about the vertical between loading and contact, deg/s; "
        "toward the target = positive."
    )
    return compute


FORMULAS: Formulas = {
    "ball_speed": ball_speed,
    "wrist_speed_peak": wrist_speed_peak,
    "sequence_pelvis": _peak_at("pelvis"),
    "sequence_trunk": _peak_at("trunk"),
    "sequence_upper_arm": _peak_at("upper_arm"),
    "sequence_forearm": _peak_at("forearm"),
    "sequence_gap_pelvis_trunk": _gap("pelvis", "trunk"),
    "sequence_gap_trunk_upper_arm": _gap("trunk", "upper_arm"),
    "sequence_gap_upper_arm_forearm": _gap("upper_arm", "forearm"),
    "sequence_proximal_to_distal": sequence_proximal_to_distal,
    "pelvis_rotation_speed_peak": _peak_speed("pelvis"),
    "trunk_rotation_speed_peak": _peak_speed("trunk"),
}
