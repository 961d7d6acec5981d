"""Which values of a metric are possible at all: a change larger than that is no finding.

Joints: active ranges of motion of adults, Haemophilia 2011, 17(3):500-507, doi
10.1111/j.1365-2516.2010.02399.x (elbow flexion to about 150, knee flexion to about 145 degrees;
from memory), rounded up. Inclinations and turns: geometry. Speeds: above the fastest published of
serves (elbow 1510, internal rotation of the shoulder 2420, pelvis 440, trunk 870, knee 800 deg/s,
Sports Biomech 2003, 2(1):51-64, from memory; ball and racket speeds bound the wrist's), rounded up.
Times and ratios: working values beyond anything seen in serves.
"""

from __future__ import annotations

from collections.abc import Mapping

_JOINT, _TILT, _TURN = (0.0, 160.0), (-90.0, 90.0), (-180.0, 180.0)
"""Degrees: flexion of a joint (from memory), tilt of a line, turn about the vertical (geometry)."""
_GAP, _PHASE, _WHOLE = (-500.0, 500.0), (0.0, 5.0), (0.0, 10.0)
"""Milliseconds between peaks, seconds of a phase, seconds of a whole movement (working values)."""
_SHARE = (0.0, 1.0)
"""A share of one."""

POSSIBLE: Mapping[str, tuple[float, float]] = {
    "elbow_flexion": _JOINT,
    "shoulder_elevation": (0.0, 180.0),
    "tossing_arm_elevation": _TILT,
    "contact_height_ratio": (0.8, 1.7),
    "contact_forward": (-1.5, 1.5),
    "toss_release_height": (0.3, 1.5),
    "throw_elevation": _TILT,
    "rear_hip_drop": (-0.5, 0.5),
    "rear_hip_setback": (-0.5, 0.5),
    "front_hip_advance": (-0.5, 0.5),
    "front_knee_flexion": _JOINT,
    "front_knee_extension_speed": (0.0, 1000.0),
    "rear_knee_flexion": _JOINT,
    "rear_knee_extension_speed": (0.0, 1000.0),
    "leg_drive_speed": (-1.0, 5.0),
    "ball_speed": (0.0, 80.0),
    "wrist_speed_peak": (0.0, 25.0),
    "sequence_pelvis": _GAP,
    "sequence_trunk": _GAP,
    "sequence_upper_arm": _GAP,
    "sequence_forearm": _GAP,
    "sequence_gap_pelvis_trunk": _GAP,
    "sequence_gap_trunk_upper_arm": _GAP,
    "sequence_gap_upper_arm_forearm": _GAP,
    "sequence_proximal_to_distal": _SHARE,
    "pelvis_rotation_speed_peak": (0.0, 1000.0),
    "trunk_rotation_speed_peak": (0.0, 1500.0),
    "tempo": (0.0, 20.0),
    "tempo_set_up_release": _WHOLE,
    "tempo_release_trophy": _PHASE,
    "tempo_trophy_contact": _PHASE,
    "shoulder_line_tilt": _TILT,
    "trunk_inclination": (0.0, 90.0),
    "trunk_lateral_tilt": _TILT,
    "trunk_backward_tilt": _TILT,
    "shoulder_over_shoulder": (0.0, 180.0),
    "pelvis_turn": _TURN,
    "pelvis_turn_peak": _TURN,
    "pelvis_turn_absolute": _TURN,
    "shoulder_turn": _TURN,
    "shoulder_turn_peak": _TURN,
    "shoulder_turn_absolute": _TURN,
    "knee_turn": _TURN,
    "knee_turn_peak": _TURN,
    "knee_turn_absolute": _TURN,
    "turn_to_bend_ratio": (-2.0, 4.0),
    "hip_shoulder_separation": _TILT,
    "hip_shoulder_separation_peak": _TILT,
    "rear_foot_load_share": _SHARE,
    "rear_foot_load_share_dynamic": _SHARE,
    "rear_foot_load_share_peak": _SHARE,
    "most_loaded_before_contact": _PHASE,
    "rear_load_time_60": _WHOLE,
    "hold_rear_load_time_60": (0.0, 600.0),
    "hold_rear_foot_load_share": _SHARE,
    "hold_duration": (0.0, 600.0),
}
"""Least and greatest possible value by key, in the metric's unit."""


def largest_change(key: str) -> float | None:
    """Return the largest possible change of a metric; None for one of another version."""
    bounds = POSSIBLE.get(key)
    return None if bounds is None else bounds[1] - bounds[0]
