"""What a generator asks of a body over time, brought within what joints allow."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from models.training.rendered.rotation import Array

from .plan import Plan
from .ranges import ARMS, FOOT_TURN, FORWARD_BEND, LIMITS, SIDE_BEND, TRUNK, soft_limit
from .smooth_steps import step, wander

Paths = dict[str, Array]


@dataclass(frozen=True)
class Intent:
    """Paths (T,) of the dimensions of `ranges` over a plan's grid.

    `height` (T,) asks for the height of the centre of mass in place of the knees' flexion, `place`
    (T, 2) for its place on the floor in place of share and balance; metres.
    """

    paths: Paths
    height: Array | None = None
    place: Array | None = None


#: standard deviations of the random deviations: trunk, arms, knees in degrees; share; metres
_DEVIATION: dict[str, tuple[float, float]] = {
    **dict.fromkeys(TRUNK, (2.0, 6.0)),
    **dict.fromkeys(ARMS, (3.0, 15.0)),
    "s_roll": (0.5, 2.5),
    "s_pitch": (0.5, 2.5),
    "front_knee": (1.5, 7.0),
    "rear_knee": (1.5, 7.0),
    "share": (0.01, 0.05),
    "balance": (0.004, 0.015),
}
#: at contact the arm's deviations are this part: beyond it the racket would not reach up
_AT_CONTACT = 0.4


def deviate(intent: Intent, plan: Plan, rng: np.random.Generator) -> Intent:
    """Smooth random deviations of 0.3 to 2.2 Hz (working values), none before the start nor in a
    hold.
    """
    t, times = plan.grid, plan.times
    names = list(_DEVIATION)
    ranges = np.array([_DEVIATION[n] for n in names])
    slower = 0.5 if plan.kind == "shadow" else 1.0
    scale = rng.uniform(ranges[:, 0], ranges[:, 1])
    paths = wander(rng, t, scale, 0.3 * slower, 2.2 * slower)
    window = step(t, times["start"], times["start"] + 0.4)
    if plan.kind == "hold":
        still = step(t, times["load"] - 0.35, times["load"])
        paths = paths + still * (paths[:, [np.searchsorted(t, times["load"])]] - paths)
        window = window * (1.0 - step(t, times["hold_end"], times["end"]))
    else:
        window = window * (1.0 - step(t, times["end"] - 0.4, times["end"]))
    near = np.exp(-(((t - times["contact"]) / 0.12) ** 2))
    out = dict(intent.paths)
    less = 1.0 - (1.0 - _AT_CONTACT) * near
    for i, name in enumerate(names):
        if name in out:
            path = paths[i] * window
            out[name] = out[name] + (path * less if name in ARMS else path)
    return replace(intent, paths=out)


def within_limits(paths: Paths, plan: Plan, front_yaw: Array, rear_yaw: Array) -> Paths:
    """The same paths with every joint inside its limits (softly, C2)."""
    out = dict(paths)
    for name, (low, high) in LIMITS.items():
        if name in out:
            margin = 4.0 if high - low > 60 else 2.0
            out[name] = soft_limit(out[name], low, high, margin)
    out["tilt"] = out["p_roll"] + soft_limit(out["tilt"] - out["p_roll"], *SIDE_BEND)
    out["t_pitch"] = out["p_pitch"] + soft_limit(out["t_pitch"] - out["p_pitch"], *FORWARD_BEND)
    # the rear foot turns with the pelvis once its heel is up, so only the front foot binds late
    free = step(plan.grid, plan.times["load"], plan.times["contact"])
    least = np.maximum(front_yaw, rear_yaw * (1 - free) + front_yaw * free) - FOOT_TURN
    out["p_turn"] = soft_limit(out["p_turn"], least, front_yaw + FOOT_TURN, 6.0)
    return out
