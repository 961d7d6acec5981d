"""Formulas of the ground truth, from 3D joint centres. Written apart from the product's own engine.

Every function takes arrays (..., 3) and works on right-handed bodies in the court frame (x to the
net, z up): `front` is the side nearer the net at set-up (left), `rear` the hitting side. Nothing
here may import the product, so that one mistake cannot hide in both.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Points = Mapping[str, Array]
GRAVITY = 9.81

#: de Leva (1996), J Biomech 29(9):1223-1230, Table 4: mass share and centre-of-mass position from
#: the
#: first end, (female, male). Ends: trunk mid-shoulder -> mid-hip, shank knee -> ankle joint
#: centre, hand
#: wrist -> third metacarpal head, foot heel -> toe, head vertex -> mid-gonion.
SEGMENTS = {
    "head": ((0.0668, 0.5894), (0.0694, 0.5976)),
    "trunk": ((0.4257, 0.3782), (0.4346, 0.4310)),
    "upper_arm": ((0.0255, 0.5754), (0.0271, 0.5772)),
    "forearm": ((0.0138, 0.4559), (0.0162, 0.4574)),
    "hand": ((0.0056, 0.7474), (0.0061, 0.7900)),
    "thigh": ((0.1478, 0.3612), (0.1416, 0.4095)),
    "shank": ((0.0481, 0.4352), (0.0433, 0.4395)),
    "foot": ((0.0129, 0.4014), (0.0137, 0.4415)),
}


def wrap180(deg: Array) -> Array:
    """Angle brought into [-180, 180)."""
    return np.mod(np.asarray(deg) + 180.0, 360.0) - 180.0


def flexion(a: Array, b: Array, c: Array) -> Array:
    """180 minus the included angle at `b`, degrees: 0 = straight."""
    u, v = a - b, c - b
    cross = np.linalg.norm(np.cross(u, v), axis=-1)
    return np.asarray(180.0 - np.degrees(np.arctan2(cross, np.sum(u * v, axis=-1))))


def line_turn(rear: Array, front: Array) -> Array:
    """Turn of a left-right line, degrees: 0 = square to the net, 90 = side-on, more = back."""
    d = front - rear
    return np.degrees(np.arctan2(d[..., 0], d[..., 1]))


def line_tilt(rear: Array, front: Array) -> Array:
    """Elevation of a line, degrees; front end higher is positive."""
    d = front - rear
    return np.degrees(np.arctan2(d[..., 2], np.hypot(d[..., 0], d[..., 1])))


def inclination(low: Array, high: Array) -> Array:
    """Angle of low -> high from the vertical, degrees, unsigned."""
    d = high - low
    return np.degrees(np.arctan2(np.hypot(d[..., 0], d[..., 1]), d[..., 2]))


def lean_to_net(low: Array, high: Array) -> Array:
    """Signed lean of low -> high in the plane of the target line: towards the net positive,
    degrees.
    """
    d = high - low
    return np.degrees(np.arctan2(d[..., 0], d[..., 2]))


def lean_to_left(low: Array, high: Array) -> Array:
    """Signed lean of low -> high across the target line: towards +y positive, degrees."""
    d = high - low
    return np.degrees(np.arctan2(d[..., 1], d[..., 2]))


def angle_between(u: Array, v: Array) -> Array:
    """Angle between two vectors, degrees."""
    cross = np.linalg.norm(np.cross(u, v), axis=-1)
    return np.asarray(np.degrees(np.arctan2(cross, np.sum(u * v, axis=-1))))


def mid_shoulder(p: Points) -> Array:
    """Mid-point of the shoulder joint centres."""
    return 0.5 * (p["L_shoulder"] + p["R_shoulder"])


def segment_ends(p: Points) -> list[tuple[str, Array, Array]]:
    """The fourteen segments with their two ends; the head's lower end is placed from ears and
    vertex.

    The mid-gonion is taken on the line vertex -> mid-ear, the ear canal lying at 0.62 of the head's
    length (working value from the mesh, no source).
    """
    ear = 0.5 * (p["L_ear"] + p["R_ear"])
    gonion = p["vertex"] + (ear - p["vertex"]) / 0.62
    ends = [
        ("head", p["vertex"], gonion),
        ("trunk", mid_shoulder(p), 0.5 * (p["L_hip"] + p["R_hip"])),
    ]
    for side in "LR":
        for name, a, b in (
            ("upper_arm", "shoulder", "elbow"),
            ("forearm", "elbow", "wrist"),
            ("hand", "wrist", "hand"),
            ("thigh", "hip", "knee"),
            ("shank", "knee", "ankle"),
            ("foot", "heel", "toe"),
        ):
            ends.append((name, p[f"{side}_{a}"], p[f"{side}_{b}"]))
    return ends


def centre_of_mass(ends: list[tuple[str, Array, Array]], gender: float) -> Array:
    """Whole-body centre of mass from segments; `gender` 0 = male, 1 = female table, between =
    blend.
    """
    total, weighted = 0.0, np.zeros(())
    for name, first, second in ends:
        (female_mass, female_at), (male_mass, male_at) = SEGMENTS[name]
        mass = gender * female_mass + (1 - gender) * male_mass
        at = gender * female_at + (1 - gender) * male_at
        weighted = weighted + mass * (first + at * (second - first))
        total += mass
    return weighted / total


def rear_share(com: Array, rear: Array, front: Array) -> Array:
    """Static share over the rear foot: moment balance on the floor line rear -> front reference
    point.
    """
    line = (front - rear)[..., :2]
    along = np.sum((com - rear)[..., :2] * line, axis=-1)
    return np.asarray(1.0 - along / np.sum(line * line, axis=-1))


def zero_moment_point(com: Array, acceleration: Array) -> Array:
    """Point-mass zero-moment point on the floor (..., 2): x - z a_x / (g + a_z), same for y."""
    lever = com[..., 2] / (GRAVITY + acceleration[..., 2])
    return com[..., :2] - lever[..., None] * acceleration[..., :2]


def rear_share_dynamic(com: Array, acceleration: Array, rear: Array, front: Array) -> Array:
    """Share over the rear foot with the zero-moment point in place of the centre of mass."""
    point = np.concatenate([zero_moment_point(com, acceleration), com[..., 2:]], axis=-1)
    return rear_share(point, rear, front)


def _com(p: Points, gender: float) -> Array:
    return centre_of_mass(segment_ends(p), gender)


def _mid_hip(p: Points) -> Array:
    return 0.5 * (p["L_hip"] + p["R_hip"])


def _pelvis(p: Points) -> Array:
    return line_turn(p["R_hip"], p["L_hip"])


def _girdle(p: Points) -> Array:
    return line_turn(p["R_shoulder"], p["L_shoulder"])


def _limb(p: Points, side: str, joints: tuple[str, str, str]) -> Array:
    a, b, c = (p[f"{side}_{j}"] for j in joints)
    return flexion(a, b, c)


_LEG, _ARM = ("hip", "knee", "ankle"), ("shoulder", "elbow", "wrist")

#: every posture metric: name -> formula of joint centres and gender
POSTURE: dict[str, Callable[[Points, float], Array]] = {
    "rear_load_share": lambda p, g: rear_share(_com(p, g), p["R_ankle"], p["L_ankle"]),
    "front_knee_flexion": lambda p, g: _limb(p, "L", _LEG),
    "rear_knee_flexion": lambda p, g: _limb(p, "R", _LEG),
    "pelvis_turn": lambda p, g: _pelvis(p),
    "shoulder_turn": lambda p, g: _girdle(p),
    "separation": lambda p, g: wrap180(_girdle(p) - _pelvis(p)),
    "shoulder_tilt": lambda p, g: line_tilt(p["R_shoulder"], p["L_shoulder"]),
    "pelvis_tilt": lambda p, g: line_tilt(p["R_hip"], p["L_hip"]),
    "trunk_inclination": lambda p, g: inclination(_mid_hip(p), mid_shoulder(p)),
    "knee_turn": lambda p, g: line_turn(p["R_knee"], p["L_knee"]),
    "lead_hip_push": lambda p, g: (p["L_hip"] - 0.5 * (p["L_ankle"] + p["R_ankle"]))[..., 0],
    "hip_ahead_of_front_foot": lambda p, g: (p["L_hip"] - p["L_ankle"])[..., 0],
    "hitting_elbow_flexion": lambda p, g: _limb(p, "R", _ARM),
    "tossing_elbow_flexion": lambda p, g: _limb(p, "L", _ARM),
    "shoulder_elevation": lambda p, g: angle_between(
        p["R_elbow"] - p["R_shoulder"], _mid_hip(p) - mid_shoulder(p)
    ),
    "mid_hip_height": lambda p, g: _mid_hip(p)[..., 2],
}


def posture_metrics(p: Points, gender: float) -> dict[str, Array]:
    """All angle and position metrics of each instant (the per-frame block of the truth)."""
    return {name: formula(p, gender) for name, formula in POSTURE.items()}
