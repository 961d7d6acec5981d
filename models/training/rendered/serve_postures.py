"""Key postures of a serve before the knobs are solved into them: plain numbers per channel."""

from __future__ import annotations

import math

import numpy as np

from .knobs import ServeKnobs
from .skeleton import Skeleton

Posture = dict[str, float]

#: hitting arm on the way back (elevation, plane, rotation, elbow, racket tilt, racket around) by
#: pattern:
#: half way between start and release, at release, and half way to the trophy posture.
_BACKSWING = {
    "pendulum": (
        (14, 15, -10, 22, 30, -40),
        (50, -32, 15, 16, 30, -20),
        (84, -28, 50, 48, 32, -30),
    ),
    "abbreviated": (
        (26, 35, 0, 95, 40, -20),
        (62, 5, 60, 108, 40, -10),
        (80, -8, 82, 104, 36, -20),
    ),
    "high_elbow": (
        (30, 5, -25, 55, 40, -30),
        (78, -18, 5, 75, 45, -10),
        (92, -15, 55, 85, 40, -25),
    ),
    "pause": ((18, 10, -10, 35, 30, -40), (72, -16, 62, 70, 30, -20), (87, -12, 88, 84, 28, -30)),
}


def arm(side: str, el: float, az: float, rot: float, flex: float, wrist: float = 0.0) -> Posture:
    """Channels of one arm (`h` hitting, `t` tossing)."""
    return dict(
        zip(
            (f"{side}_{n}" for n in ("el", "az", "rot", "flex", "wrist")),
            (el, az, rot, flex, wrist),
            strict=False,
        )
    )


def hitting(el: float, az: float, rot: float, flex: float, tilt: float, around: float) -> Posture:
    """Channels of the hitting arm with its racket."""
    return {**arm("h", el, az, rot, flex), "r_tilt": tilt, "r_around": around}


def backswing(knobs: ServeKnobs, stage: int) -> Posture:
    """Hitting arm of the knob's pattern at stage 0 (going back), 1 (release), 2 (rising)."""
    return hitting(*_BACKSWING[knobs.pattern][stage])


def foot_places(
    s: Skeleton, k: ServeKnobs, front_x: float, front_y: float
) -> tuple[Posture, Posture]:
    """Flat feet at set-up and the same with the rear foot drawn up beside the front foot."""
    front_yaw, rear_yaw = math.radians(k.front_foot_turn), math.radians(k.rear_foot_turn)
    reach = float(s.ball[0])
    ankle_x = front_x - reach * math.cos(front_yaw)
    ankle_y = front_y + reach * math.sin(front_yaw)

    def rear(gap: float, back: float) -> Posture:
        x = ankle_x - gap + reach * math.cos(rear_yaw)
        y = ankle_y + back - reach * math.sin(rear_yaw)
        return {"R_x": x, "R_y": y, "R_z": s.ball_height}

    common = {"F_x": front_x, "F_y": front_y, "F_z": s.ball_height}
    common |= {"F_yaw": k.front_foot_turn, "R_yaw": k.rear_foot_turn}
    for side in "FR":
        common |= {f"{side}_heel": 0.0, f"{side}_toe": 0.0, f"{side}_knee": 0.0}
    return {**common, **rear(k.stance, k.closed)}, {**common, **rear(0.20, k.closed * 0.5 + 0.03)}


def shape_noise(knobs: ServeKnobs, postures: dict[str, Posture]) -> None:
    """Give every key posture small random angle differences, so that no two people share a
    template.
    """
    rng = np.random.default_rng(knobs.shape_seed)
    scale = {
        "r_around": 2.0,
        "r_tilt": 1.0,
        "h_az": 1.0,
        "t_az": 1.2,
        "h_turn": 1.5,
        "h_pitch": 1.2,
    }
    for name in ("mid", "release", "rise", "load", "low", "follow", "land", "finish"):
        for channel in sorted(postures[name]):
            if channel[1:] in ("x", "y", "z") or channel[2:] in ("x", "y", "z"):
                continue
            spread = scale.get(channel, 0.6) * knobs.shape_spread
            draw = float(rng.normal(0.0, spread))
            if channel[0] not in "FR":
                postures[name][channel] += float(np.clip(draw, -2 * spread, 2 * spread))


def base_postures(s: Skeleton, k: ServeKnobs, front_x: float, front_y: float) -> dict[str, Posture]:
    """Unsolved postures, from set_up to end."""
    wide, drawn = foot_places(s, k, front_x, front_y)
    planted = drawn if k.foot_up else wide
    hip = s.ankle_height + 0.985 * s.leg
    middle = 0.5 * (wide["F_x"] + wide["R_x"])
    body_y = front_y + 0.06
    upright = {"px": middle, "py": body_y, "pz": hip, "s_roll": 0.0, "s_pitch": 0.0, "h_roll": 0.0}
    shoulder = k.pelvis_turn + k.separation
    tuck = arm("t", 62, 55, 0, 75)
    postures: dict[str, Posture] = {}

    def add(name: str, *parts: Posture, **values: float) -> None:
        merged: Posture = dict(upright)
        for part in parts:
            merged |= part
        postures[name] = merged | values

    def trunk(pt: float, pr: float, pp: float, tt: float, tr: float, tp: float) -> Posture:
        return {
            "p_turn": pt,
            "p_roll": pr,
            "p_pitch": pp,
            "t_turn": tt,
            "t_roll": tr,
            "t_pitch": tp,
        }

    def head(turn: float, pitch: float) -> Posture:
        return {"h_turn": turn, "h_pitch": pitch}

    ready = (trunk(k.setup_turn, 0, 8, k.setup_turn - 4, 0, 13), head(0.5 * k.setup_turn, 8))
    add("set_up", wide, *ready, hitting(9, 42, -48, 74, 32, -50), arm("t", 12, 42, -16, 74))
    turn = k.setup_turn
    add(
        "mid",
        wide,
        trunk(turn + 1, 0, 8, turn + 5, 2, 12),
        head(0.55 * turn, 4),
        backswing(k, 0),
        arm("t", 22, 50, 0, 30),
    )
    part = 0.4 * (k.pelvis_turn - k.setup_turn)
    drift = (wide if k.foot_up else planted) | {}
    add(
        "release",
        drift,
        trunk(turn + part, 1, 5, turn + part + 0.6 * k.separation, 9, 8),
        head(0.7 * turn, -22),
        backswing(k, 1),
        arm("t", 132, k.toss_plane + 8, 0, 10),
    )
    part = 0.8 * (k.pelvis_turn - k.setup_turn)
    rise = dict(planted)
    add(
        "rise",
        rise,
        trunk(turn + part, 3, 2, turn + part + 0.9 * k.separation, 0.8 * k.shoulder_tilt, 0),
        head(0.75 * turn, -34),
        backswing(k, 2),
        arm("t", 0.5 * (150 + k.toss_arm), k.toss_plane, 0, 7),
    )
    lift = {"F_heel": 10.0, "R_heel": 24.0 if k.foot_up else 6.0}
    add(
        "load",
        planted,
        lift,
        trunk(k.pelvis_turn, 4, 0, shoulder, k.shoulder_tilt, -6),
        head(0.78 * turn, -38),
        hitting(88, -8, 95, k.elbow_trophy, 24, k.racket_around),
        arm("t", k.toss_arm, k.toss_plane, 0, 8),
    )
    mid_turn = k.contact_pelvis + 0.48 * (k.pelvis_turn - k.contact_pelvis)
    rising = {
        "F_heel": 40.0,
        "R_heel": 54.0,
        "F_toe": 3.0,
        "R_toe": 12.0,
        "R_x": planted["R_x"] + 0.06,
    }
    add(
        "low",
        planted,
        rising,
        trunk(mid_turn, 1, 2, mid_turn + 16, -2, -5),
        head(56, -40),
        hitting(104, 4, 166, 106, 80, 88),
        tuck,
        F_z=s.ball_height + 0.004,
        R_z=s.ball_height + 0.07,
    )
    forward = 0.06 + 0.4 * k.land
    off = {
        "F_heel": 48.0,
        "R_heel": 55.0,
        "F_toe": 22.0,
        "R_toe": 30.0,
        "F_x": planted["F_x"] + 0.25 * k.land,
        "F_z": s.ball_height + k.jump,
        "R_x": planted["R_x"] + forward,
        "R_z": s.ball_height + k.jump + 0.07,
    }
    add(
        "contact",
        planted,
        off,
        trunk(k.contact_pelvis, -12, 14, k.contact_shoulder, -k.contact_tilt, 18),
        head(34, -30),
        hitting(k.reach, 22, 96, k.elbow_contact, 22, -30),
        arm("t", 32, 52, -20, 92),
        px=planted["F_x"] + 0.08,
        R_yaw=k.rear_foot_turn - 22,
    )
    air = {
        **planted,
        **off,
        "F_x": planted["F_x"] + 0.7 * k.land,
        "F_heel": 28.0,
        "F_z": s.ball_height + 0.5 * k.jump,
    }
    after = air | {
        "R_x": planted["R_x"] + forward + 0.08,
        "R_z": s.ball_height + 0.24,
        "R_heel": 70.0,
        "F_toe": 8.0,
    }
    add(
        "follow",
        after,
        trunk(k.contact_pelvis - 14, -6, 20, k.contact_shoulder - 22, -22, 28),
        head(22, -8),
        hitting(88, 62, 20, 24, 34, -60),
        arm("t", 26, 40, -30, 80),
        px=planted["F_x"] + 0.2 + 0.3 * k.land,
    )
    down = after | {
        "F_x": planted["F_x"] + k.land,
        "F_z": s.ball_height,
        "F_heel": 0.0,
        "F_toe": 0.0,
        "R_x": planted["R_x"] + forward + 0.12,
        "R_z": 0.42,
        "R_heel": 82.0,
        "R_yaw": 50.0,
        "R_toe": 70.0,
    }
    add(
        "land",
        down,
        trunk(10, -3, 24, -14, -10, 36),
        head(12, 4),
        hitting(62, 92, 5, 30, 40, -45),
        arm("t", 22, 20, -20, 60),
        px=planted["F_x"] + k.land + 0.02,
    )
    behind = down | {
        "R_x": planted["F_x"] + k.land - 0.42,
        "R_z": 0.44,
        "R_heel": 80.0,
        "R_yaw": 30.0,
    }
    add(
        "finish",
        behind,
        trunk(-3, 0, 26, -32, -4, 40),
        head(4, 6),
        hitting(44, 104, 0, 36, 42, -35),
        arm("t", 24, 8, 0, 46),
        px=planted["F_x"] + k.land + 0.05,
    )
    stand = wide | {
        "F_x": planted["F_x"] + k.land,
        "R_x": planted["F_x"] + k.land - 0.05,
        "R_y": front_y - 0.30,
        "F_yaw": 12.0,
        "R_yaw": -12.0,
    }
    add(
        "end",
        stand,
        trunk(4, 0, 5, 4, 0, 8),
        head(2, 4),
        hitting(16, 25, -15, 48, 34, -45),
        arm("t", 14, 25, -10, 40),
        px=planted["F_x"] + k.land - 0.02,
        py=front_y - 0.14,
    )
    return postures
