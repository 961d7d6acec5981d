"""Feet on the floor: where they stand, slide, jump and step; legs solved in closed form."""

from __future__ import annotations

import numpy as np

from models.training.rendered.rotation import Array, apply
from models.training.rendered.skeleton import Skeleton

from .plan import Plan
from .ranges import soft_limit
from .smooth_steps import bump, step

#: heel raise that a standing foot can reach, degrees (ankle plantar flexion about 56 degrees: J
#: Bone Joint Surg Am 1979, 61(5):756-759, from memory), and the straightest knee used
HEEL_MOST, STRAIGHT = 60.0, 2.0
#: part of the flexion asked for that a knee keeps where the other leg would pull it straight
_KEPT = 0.6
_SOFT = 0.0025  # metres over which two demands on the pelvis' height are blended


def feet_paths(s: Skeleton, plan: Plan, rng: np.random.Generator) -> dict[str, Array]:
    """Foot channels (T,); `_heel` is the least raise of the heel. ``swing`` is 1 while the rear
    foot carries nothing, ``air`` while it is off the floor.
    """
    t, times, stance = plan.grid, plan.times, plan.stance
    zero = np.zeros_like(t)
    out: dict[str, Array] = {}
    off, on = stance.take_off, stance.take_off + stance.flight
    go = step(t, off, on) if stance.flight else zero
    air = bump(t, off - 0.02, on + 0.02) if stance.flight else zero
    out["F_x"] = stance.front[0] + stance.land * go
    out["F_y"] = stance.front[1] + stance.aside * go
    out["F_z"] = s.ball_height + stance.lift * air
    out["F_yaw"] = stance.front_yaw + go * (rng.uniform(0, 0.7) - 1.0) * stance.front_yaw
    hold = plan.kind == "hold"
    up = step(t, times["load"] - 0.25, times["load"])
    drive = zero if hold else step(t, times["load"], times["contact"])
    back = step(t, times["hold_end"], times["end"]) if hold else zero
    settle = step(t, on if stance.flight else times["contact"], times["finish"])
    load_heel, top_heel = rng.uniform(0, 12), rng.uniform(5, 52)
    if stance.flight:
        top_heel = max(top_heel, 30.0)
    out["F_heel"] = (load_heel * up * (1 - back) + (top_heel - load_heel) * drive) * (1 - settle)
    out["F_toe"] = rng.uniform(5, 25) * air

    path = np.tile(stance.rear, (len(t), 1))
    height = zero + s.ball_height
    if stance.rear_up is not None:
        move = step(t, stance.slide_from, stance.slide_to)[:, None]
        path = path + move * (stance.rear_up - stance.rear)
        height = height + 0.012 * rng.random() * bump(t, stance.slide_from, stance.slide_to)
        if hold:
            path = path + (stance.rear - path) * back[:, None]
            height = height + 0.02 * bump(t, times["hold_end"], times["end"])
    load_heel, top_heel = rng.uniform(0, 22), rng.uniform(25, 58)
    heel = load_heel * up * (1 - back) + (top_heel - load_heel) * drive
    pivot = rng.uniform(0, 42)
    yaw = stance.rear_yaw - pivot * drive
    swing, toe, air = zero, zero, zero
    if stance.rear_off is not None:
        go = step(t, stance.rear_off, stance.rear_on)
        path = path + go[:, None] * (stance.rear_to - path)
        high = bump(t, stance.rear_off, stance.rear_on) ** 0.8
        height = height + stance.kick * high
        heel = heel * (1 - step(t, stance.rear_on - 0.25, stance.rear_on))
        heel = heel + rng.uniform(0, 25) * high
        yaw = yaw + go * (rng.uniform(-25, 20) - yaw)
        toe = rng.uniform(10, 45) * high
        swing = step(t, stance.rear_off - 0.10, stance.rear_off + 0.02)
        swing = swing * (1 - step(t, stance.rear_on - 0.12, stance.rear_on))
        air = step(t, stance.rear_off, stance.rear_off + 0.10)
        air = air * (1 - step(t, stance.rear_on - 0.16, stance.rear_on))
    elif not hold:
        heel = heel * (1 - step(t, times["finish"], times["end"]))
    out |= {"R_x": path[:, 0], "R_y": path[:, 1], "R_z": height}
    out |= {"R_heel": heel, "R_toe": toe, "R_yaw": yaw, "swing": swing, "air": air}
    out["air_knee"] = zero + rng.uniform(4, 60)
    for side in "FR":
        out[f"{side}_knee"] = zero + rng.uniform(-8, 8) + rng.uniform(-8, 8) * up * (1 - back)
    return out


def _length(s: Skeleton, flexion: Array | float) -> Array:
    """Hip to ankle at a knee flexion in degrees."""
    c = np.cos(np.radians(flexion))
    return np.sqrt(s.thigh**2 + s.shank**2 + 2 * s.thigh * s.shank * c)


def _ankle_from_ball(ball: Array, yaw: Array, heel: Array) -> Array:
    """Ankle minus ball of the foot, (T, 3), for the foot's offset `ball` (3,) from the ankle."""
    c, sn = np.cos(np.radians(heel)), np.sin(np.radians(heel))
    ahead, up = -(c * ball[0] + sn * ball[2]), -(-sn * ball[0] + c * ball[2])
    a = np.radians(yaw)
    return np.stack(
        [np.cos(a) * ahead - np.sin(a) * ball[1], -np.sin(a) * ahead - np.cos(a) * ball[1], up], -1
    )


def _more(a: Array, b: Array, soft: float) -> Array:
    return np.asarray(0.5 * (a + b + np.sqrt((a - b) ** 2 + soft**2)))


def solve_legs(
    s: Skeleton,
    c: dict[str, Array],
    feet: dict[str, Array],
    pelvis: Array,
    knees: tuple[Array, Array] | None,
) -> None:
    """Set ``pz`` and the heels' raise in the channels `c` for the flexion of both knees.

    The pelvis is as high as the straighter of both legs asks; the other foot's heel rises until
    its knee has the flexion asked for, as far as heels rise. Without ``knees`` the pelvis stays at
    ``pz`` unless out of reach. ``pelvis`` (T, 3, 3) is its frame.
    """
    hips, wants, reaches = {}, {}, {}
    for axis in "xyz":
        c[f"R_{axis}"] = feet[f"R_{axis}"]
    for i, side in enumerate("FR"):
        ball = s.ball * np.array([1.0, 1.0 if side == "F" else -1.0, 1.0])
        hip = s.hip * np.array([1.0, 1.0 if side == "F" else -1.0, 1.0])
        at = apply(pelvis, hip)
        foot = np.stack([c[f"{side}_x"], c[f"{side}_y"], c[f"{side}_z"]], -1)
        hip_xy = np.stack([c["px"], c["py"]], -1) + at[:, :2]

        def height(heel: Array, flexion: Array | float) -> Array:
            ankle = foot + _ankle_from_ball(ball, c[f"{side}_yaw"], heel)  # noqa: B023
            off = np.sum((hip_xy - ankle[:, :2]) ** 2, axis=-1)  # noqa: B023
            rest = np.maximum(_length(s, flexion) ** 2 - off, 0.09)
            return np.asarray(ankle[:, 2] + np.sqrt(rest) - at[:, 2])  # noqa: B023

        base = feet[f"{side}_heel"]
        if knees is not None:
            wants[side] = height(base, knees[i])
        least = STRAIGHT if knees is None else np.maximum(_KEPT * knees[i], STRAIGHT)
        reaches[side] = height(np.full_like(base, HEEL_MOST - 4.0), least)
        hips[side] = (at, foot, ball)
    swing = feet["swing"]
    pz = _more(wants["F"], wants["R"] - 0.6 * swing, _SOFT) if knees is not None else c["pz"]
    pz = -_more(-pz, -reaches["F"], _SOFT)
    pz = -_more(-pz, -(reaches["R"] + 0.6 * swing), _SOFT)
    c["pz"] = pz
    place = np.stack([c["px"], c["py"], pz], -1)
    for i, side in enumerate("FR"):
        at, foot, ball = hips[side]
        u = place + at - foot
        flexion: Array | float = STRAIGHT if knees is None else np.maximum(knees[i], STRAIGHT)
        heel = _heel_for(u, ball, c[f"{side}_yaw"], _length(s, flexion))
        heel = _more(heel, feet[f"{side}_heel"], 2.0)
        if side == "R":  # a foot in the air has no floor to rise from
            heel = heel * (1 - swing) + swing * feet["R_heel"]
            bent = feet["air_knee"] if knees is None else flexion
            _draw_after(s, c, feet["air"], u, ball, heel, bent)
        c[f"{side}_heel"] = soft_limit(heel, -40.0, HEEL_MOST + 8.0 * swing, 4.0)


def _draw_after(
    s: Skeleton,
    c: dict[str, Array],
    air: Array,
    u: Array,
    ball: Array,
    heel: Array,
    flexion: Array | float,
) -> None:
    """Draw the rear foot in the air after the hip, so that its knee is as bent as asked for."""
    leg = u - _ankle_from_ball(ball, c["R_yaw"], heel)
    size = np.linalg.norm(leg, axis=-1)
    pull = air * _more(size - _length(s, flexion), np.zeros_like(size), 0.01) / size
    for i, axis in enumerate("xyz"):
        c[f"R_{axis}"] = c[f"R_{axis}"] + pull * leg[:, i]


def _heel_for(u: Array, ball: Array, yaw: Array, distance: Array) -> Array:
    """Raise of the heel at which the ankle is `distance` from a hip that is `u` from the ball.

    |u + R(h) b|^2 = distance^2 is A cos h + B sin h = M.
    """
    a = np.radians(yaw)
    ahead = np.cos(a) * u[:, 0] - np.sin(a) * u[:, 1]
    left = np.sin(a) * u[:, 0] + np.cos(a) * u[:, 1]
    first = ahead * ball[0] + u[:, 2] * ball[2]
    second = ahead * ball[2] - u[:, 2] * ball[0]
    wanted = distance**2 - np.sum(u * u, -1) - float(ball @ ball) - 2 * left * ball[1]
    size = np.hypot(first, second)
    angle = np.arctan2(second, first) + np.arccos(np.clip(0.5 * wanted / size, -1.0, 1.0))
    return np.asarray(np.degrees(angle))
