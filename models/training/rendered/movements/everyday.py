"""Serves put together from ordinary movements: squat, twist, side bend, arch, reach, throw.

Each ordinary movement moves the joints that it moves in daily life, with its own size, instant and
length; several overlap with random phase, on top of a posture of standing. The throw brings the
racket up to the ball; where hands must be (release, contact) is all that is fixed in time.
"""

from __future__ import annotations

import numpy as np

from models.training.rendered.performance import Performance
from models.training.rendered.rotation import Array
from models.training.rendered.skeleton import Skeleton

from .intent import Intent, Paths
from .performing import serve_like
from .plan import Plan
from .ranges import BY_STATION, STATIONS, draw, pelvis_turns, soft_limit
from .smooth_steps import bump, step

Ordinary = dict[str, tuple[float, float]]
#: ordinary movements: dimension -> change between these, degrees (share: of 1; balance: metres);
#: working values within the limits of `ranges`
MOVEMENTS: dict[str, Ordinary] = {
    "squat": {
        "front_knee": (-6, 70),
        "rear_knee": (-6, 70),
        "p_pitch": (-8, 14),
        "t_pitch": (-8, 16),
    },
    "lunge": {"front_knee": (0, 40), "rear_knee": (-20, 25), "share": (-0.3, 0.05)},
    "sit_back": {"rear_knee": (0, 40), "front_knee": (-20, 15), "share": (0.0, 0.3)},
    "twist": {"p_turn": (-12, 42), "separation": (-25, 55)},
    "side_bend": {"tilt": (-20, 58), "p_roll": (-14, 22), "s_roll": (-10, 12)},
    "arch": {"t_pitch": (-45, 8), "s_pitch": (-14, 4), "p_pitch": (-10, 6)},
    "sway": {"share": (-0.25, 0.25), "balance": (-0.04, 0.04)},
}


def generate(skeleton: Skeleton, rng: np.random.Generator, kind: str) -> Performance:
    """A serve, shadow, throw or hold of a body; every draw is another movement."""
    return serve_like(intend, skeleton, rng, kind)


def intend(skeleton: Skeleton, plan: Plan, rng: np.random.Generator) -> Intent:
    """Paths of all dimensions, (T,) each."""
    t = plan.grid
    turns = pelvis_turns(rng, (plan.stance.front_yaw, plan.stance.rear_yaw))
    base = {d: draw(rng, d, "start") for d in BY_STATION} | {"p_turn": float(turns[0])}
    paths = {d: np.full_like(t, v) for d, v in base.items()}
    hold = plan.kind == "hold"
    names = [n for n in MOVEMENTS if rng.random() < 0.8]
    for name in names if "squat" in names or "lunge" in names else [*names, "squat"]:
        pulse = _pulse(rng, plan)
        for dimension, (low, high) in MOVEMENTS[name].items():
            paths[dimension] = paths[dimension] + rng.uniform(low, high) * pulse
    for knee in ("front_knee", "rear_knee"):
        paths[knee] = soft_limit(paths[knee], 1.0, 92.0, 8.0)
    if not hold:
        _strike(rng, plan, paths, turns)
    _arms(rng, plan, paths)
    return Intent(paths)


def _pulse(rng: np.random.Generator, plan: Plan) -> Array:
    """A rise and fall about loading, 1 at its top, with a random phase; in a hold it stays up."""
    t, times = plan.grid, plan.times
    if plan.kind == "hold":
        rise = step(t, rng.uniform(times["start"], times["load"] - 0.3), times["load"])
        return rise * (1 - step(t, times["hold_end"], times["end"] - rng.uniform(0, 0.2)))
    top = times["load"] + rng.uniform(-0.5, 0.35) * (times["contact"] - times["load"])
    begin = rng.uniform(times["start"], top - 0.3 * (top - times["start"]))
    stay = rng.uniform(0.0, 0.15) * (times["contact"] - times["load"])
    down = top + stay + rng.uniform(0.7, 1.5) * (times["contact"] - times["load"])
    return step(t, begin, top) * (1 - step(t, top + stay, down))


def _strike(rng: np.random.Generator, plan: Plan, paths: Paths, turns: Array) -> None:
    """Turning, bending and stepping into the ball as in a throw, then upright again."""
    t, times = plan.grid, plan.times
    lead = float(rng.uniform(0.6, 1.0)) * (times["contact"] - times["load"])
    into = step(t, times["contact"] - lead, times["contact"] + 0.04)
    through = step(t, times["contact"], times["finish"])
    up = step(t, times["finish"], times["end"])
    trunk = ("separation", "tilt", "p_roll", "p_pitch", "t_pitch", "share", "balance")
    for d in (*trunk, "front_knee", "rear_knee", "p_turn"):
        if d == "p_turn":
            at, after, last = (
                float(turns[STATIONS.index(s)]) for s in ("contact", "finish", "end")
            )
        else:
            at, after, last = (draw(rng, d, s) for s in ("contact", "finish", "end"))
        here = paths[d][0]
        # what a pulse still adds at contact fades as the strike begins
        paths[d] = paths[d] + into * (at - paths[d]) + through * (after - at) + up * (last - after)
        paths[d] = np.where(t < times["start"], here, paths[d])


def _arms(rng: np.random.Generator, plan: Plan, paths: Paths) -> None:
    """A reach of the tossing arm up past release; a throw of the hitting arm: out or up, cocked,
    whipped, through; each joint in its own time.
    """
    t, times = plan.grid, plan.times
    hold = plan.kind == "hold"
    for d in (d for d in BY_STATION if d[:2] in ("h_", "t_", "r_") and d != "t_pitch"):
        stops = (
            ("release", "load") if hold else ("release", "load", "low", "contact", "finish", "end")
        )
        before, value = times["start"], float(paths[d][0])
        for stop in stops:
            to = draw(rng, d, stop)
            if stop == "load" and d[0] == "h" and rng.random() < 0.5:
                to = value + 0.5 * (to - value)  # half the throws go on without a stop there
            begin = before + rng.uniform(0.0, 0.35) * (times[stop] - before)
            paths[d] = paths[d] + (to - value) * step(t, begin, max(times[stop], begin + 0.05))
            before, value = times[stop], to
        if hold:
            back = step(t, times["hold_end"], times["end"])
            paths[d] = paths[d] + (paths[d][0] - value) * back
    if not hold and rng.random() < 0.5:  # a circle of the arm on the way
        early = bump(t, times["start"], times["load"])
        paths["h_az"] = paths["h_az"] + rng.uniform(-25, 20) * early
