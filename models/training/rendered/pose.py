"""From posture channels to a posed body: forward kinematics, planted feet by leg inverse
kinematics.

A *posture* is a mapping of channel name to values of shape (T,). Every body is posed as a
right-hander; `mirror.py` turns the finished result into a left-hander. `L` is therefore the front
(tossing) side and `R` the rear (hitting) side. Angles in degrees, lengths in metres.

Channels
--------
``px py pz`` mid-hip; ``p_turn p_roll p_pitch`` pelvis; ``t_turn t_roll t_pitch`` thorax;
``s_roll s_pitch`` extra bend of the mid spine; ``h_turn h_roll h_pitch`` head;
``{h,t}_el {h,t}_az {h,t}_rot {h,t}_flex`` hitting and tossing arm: elevation from the trunk's down
axis, plane (0 = sideways, 90 = forward), external rotation, elbow flexion; ``{h,t}_wrist`` hand
flexion; ``r_tilt r_around`` racket axis off the forearm and around it;
``{F,R}_x {F,R}_y {F,R}_z`` ball of the front and rear foot, ``_heel`` heel raise, ``_yaw`` turn of
the foot, ``_toe`` pitch of the toes, ``_knee`` extra turn of the knee's direction.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from .rotation import (
    Array,
    apply,
    cross,
    frame_from_axis,
    part_way,
    rot_y,
    rot_z,
    turn_roll_pitch,
    unit,
)
from .skeleton import Skeleton

CHANNELS = (
    *(
        "px",
        "py",
        "pz",
        "p_turn",
        "p_roll",
        "p_pitch",
        "t_turn",
        "t_roll",
        "t_pitch",
        "s_roll",
        "s_pitch",
    ),
    *("h_turn", "h_roll", "h_pitch"),
    *(f"{side}_{name}" for side in "ht" for name in ("el", "az", "rot", "flex", "wrist")),
    *("r_tilt", "r_around"),
    *(f"{side}_{name}" for side in "FR" for name in ("x", "y", "z", "heel", "yaw", "toe", "knee")),
)

#: share of the leg's full length beyond which the foot is drawn after the hip, and the softness (m)
FULL_REACH, REACH_SOFTNESS = 0.998, 0.006


@dataclass
class Body:
    """Posed body over T instants: joint centres (T, 3), segment frames (T, 3, 3)."""

    points: dict[str, Array]
    frames: dict[str, Array]


def _side(v: Array, side: str) -> Array:
    return v if side == "L" else v * np.array([1.0, -1.0, 1.0])


def pose(skeleton: Skeleton, c: Mapping[str, Array]) -> Body:
    """Pose the body for channel values of shape (T,)."""
    p: dict[str, Array] = {}
    f: dict[str, Array] = {}
    _trunk(skeleton, c, p, f)
    _arm(skeleton, c, p, f, "R", "h")
    _arm(skeleton, c, p, f, "L", "t")
    _leg(skeleton, c, p, f, "L", "F")
    _leg(skeleton, c, p, f, "R", "R")
    return Body(p, f)


def _trunk(s: Skeleton, c: Mapping[str, Array], p: dict[str, Array], f: dict[str, Array]) -> None:
    pelvis = turn_roll_pitch(c["p_turn"], c["p_roll"], c["p_pitch"])
    thorax = turn_roll_pitch(c["t_turn"], c["t_roll"], c["t_pitch"])
    bend = turn_roll_pitch(np.zeros_like(c["s_roll"]), c["s_roll"], c["s_pitch"])
    f["pelvis"], f["thorax"] = pelvis, thorax
    f["spine1"] = part_way(pelvis, thorax, 0.35) @ bend
    f["spine2"] = part_way(pelvis, thorax, 0.75) @ bend
    f["head"] = turn_roll_pitch(c["h_turn"], c["h_roll"], c["h_pitch"])
    f["neck"] = part_way(thorax, f["head"], 0.5)
    p["mid_hip"] = np.stack([c["px"], c["py"], c["pz"]], axis=-1)
    for side in "LR":
        p[f"{side}_hip"] = p["mid_hip"] + apply(pelvis, _side(s.hip, side))
    p["spine1"] = p["mid_hip"] + apply(pelvis, s.lumbar)
    p["spine2"] = p["spine1"] + apply(f["spine1"], s.spine)
    p["chest"] = p["spine2"] + apply(f["spine2"], s.chest)
    p["neck"] = p["chest"] + apply(thorax, s.neck)
    p["skull"] = p["neck"] + apply(f["neck"], s.skull)
    for name in ("nose", "vertex"):
        p[name] = p["skull"] + apply(f["head"], s.face[name])
    for name in ("eye", "ear"):
        for side, _label in (("L", "left"), ("R", "right")):
            p[f"{side}_{name}"] = p["skull"] + apply(f["head"], _side(s.face[f"left_{name}"], side))


def _arm(
    s: Skeleton, c: Mapping[str, Array], p: dict[str, Array], f: dict[str, Array], side: str, a: str
) -> None:
    sign = 1.0 if side == "L" else -1.0
    thorax = f["thorax"]
    el, az = np.radians(c[f"{a}_el"]), np.radians(c[f"{a}_az"])
    # The rotation is counted from the posture carried up from the hanging arm without twist, so
    # that
    # the elbow of a hanging arm bends forward whatever the plane of elevation.
    rot = np.radians(c[f"{a}_rot"]) + az * np.cos(el)
    zero = np.zeros_like(el)
    out = np.stack([np.sin(az), sign * np.cos(az), zero], axis=-1)
    ahead = np.stack([np.cos(az), -sign * np.sin(az), zero], axis=-1)
    up = np.array([0.0, 0.0, 1.0])
    se, ce = np.sin(el)[..., None], np.cos(el)[..., None]
    humerus = se * out - ce * up
    raised = ce * out + se * up
    bend = np.cos(rot)[..., None] * ahead + np.sin(rot)[..., None] * raised
    humerus, bend = apply(thorax, humerus), apply(thorax, bend)
    flex = np.radians(c[f"{a}_flex"])[..., None]
    forearm = np.cos(flex) * humerus + np.sin(flex) * bend
    forearm_bend = -np.sin(flex) * humerus + np.cos(flex) * bend

    # Girdle: the shoulder rises with an arm above the horizontal (smooth, about 1 in 4).
    over = c[f"{a}_el"] - 70.0
    lift = 0.22 * 0.5 * (over + np.sqrt(over**2 + 400.0))
    girdle = turn_roll_pitch(zero, sign * lift, zero)
    f[f"{side}_clavicle"] = thorax @ girdle
    p[f"{side}_clavicle"] = p["chest"] + apply(thorax, _side(s.clavicle, side))
    p[f"{side}_shoulder"] = p[f"{side}_clavicle"] + apply(
        f[f"{side}_clavicle"], _side(s.shoulder, side)
    )
    f[f"{side}_upper_arm"] = frame_from_axis(humerus, bend)
    f[f"{side}_forearm"] = frame_from_axis(forearm, forearm_bend)
    p[f"{side}_elbow"] = p[f"{side}_shoulder"] + s.upper_arm * humerus
    p[f"{side}_wrist"] = p[f"{side}_elbow"] + s.forearm * forearm
    wrist = np.radians(c[f"{a}_wrist"])[..., None]
    if side == "R":
        tilt, around = np.radians(c["r_tilt"])[..., None], np.radians(c["r_around"])[..., None]
        across = cross(forearm, forearm_bend)
        away = np.cos(around) * forearm_bend + np.sin(around) * across
        racket = np.cos(tilt) * forearm + np.sin(tilt) * away
        normal = -np.sin(around) * forearm_bend + np.cos(around) * across
        f["racket"] = frame_from_axis(racket, normal)
        # The hand holds the grip obliquely: it points part of the way towards the racket head.
        hand = unit(0.75 * forearm + 0.45 * racket)
        f["R_hand"] = frame_from_axis(hand, away)
    else:
        hand = np.cos(wrist) * forearm + np.sin(wrist) * forearm_bend
        f["L_hand"] = frame_from_axis(hand, forearm_bend)
    p[f"{side}_hand"] = p[f"{side}_wrist"] + s.hand * hand


def _leg(
    s: Skeleton, c: Mapping[str, Array], p: dict[str, Array], f: dict[str, Array], side: str, a: str
) -> None:
    yaw = c[f"{a}_yaw"]
    heading = rot_z(-yaw)
    foot = heading @ rot_y(c[f"{a}_heel"])
    ball = np.stack([c[f"{a}_x"], c[f"{a}_y"], c[f"{a}_z"]], axis=-1)
    hip = p[f"{side}_hip"]
    ankle = ball - apply(foot, _side(s.ball, side))
    reach = ankle - hip
    distance = np.linalg.norm(reach, axis=-1)
    over = distance - FULL_REACH * s.leg
    excess = 0.5 * (over + np.sqrt(over**2 + REACH_SOFTNESS**2))
    shift = -reach / distance[..., None] * excess[..., None]
    ankle, ball = ankle + shift, ball + shift
    reach = ankle - hip
    distance = np.linalg.norm(reach, axis=-1)
    axis = reach / distance[..., None]
    # The knee points between the foot's and the pelvis' heading.
    aim = np.radians(0.55 * yaw + 0.45 * c["p_turn"] + c[f"{a}_knee"])
    forward = np.stack([np.cos(aim), -np.sin(aim), np.zeros_like(aim)], axis=-1)
    square = unit(forward - np.sum(forward * axis, axis=-1, keepdims=True) * axis)
    along = (distance**2 + s.thigh**2 - s.shank**2) / (2 * distance)
    off = np.sqrt(np.maximum(s.thigh**2 - along**2, 1e-12))
    knee = hip + along[..., None] * axis + off[..., None] * square
    f[f"{side}_thigh"] = frame_from_axis(knee - hip, square)
    f[f"{side}_shank"] = frame_from_axis(ankle - knee, square)
    f[f"{side}_foot"] = foot
    f[f"{side}_toes"] = heading @ rot_y(c[f"{a}_toe"])
    p[f"{side}_knee"], p[f"{side}_ankle"], p[f"{side}_ball"] = knee, ankle, ball
    p[f"{side}_heel"] = ankle + apply(foot, _side(s.heel, side))
    p[f"{side}_toe"] = ball + apply(f[f"{side}_toes"], _side(s.toe, side))


RACKET_LENGTH, SWEET_SPOT, GRIP = 0.675, 0.52, 0.07


def racket_points(s: Skeleton, body: Body) -> Array:
    """Butt, sweet spot and tip of the racket, (T, 3, 3)."""
    axis = -body.frames["racket"][..., 2]
    hand = -body.frames["R_hand"][..., 2]
    grip = body.points["R_wrist"] + 0.95 * s.hand * hand
    butt = grip - GRIP * axis
    return np.stack([butt, butt + SWEET_SPOT * axis, butt + RACKET_LENGTH * axis], axis=-2)
