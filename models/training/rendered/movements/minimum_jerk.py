"""Movements of superposed minimum-jerk steps between postures drawn freely at every instant.

Each dimension goes from value to value in steps of its own begin and length that may overlap, as
submovements do (J Cogn Neurosci 1991, 3(3):220-230; minimum jerk: J Neurosci 1985,
5(7):1688-1703). Values are uniform in the ranges of `ranges`, independent of each other.
"""

from __future__ import annotations

import numpy as np

from models.training.rendered.performance import Performance
from models.training.rendered.rotation import Array
from models.training.rendered.skeleton import Skeleton

from .intent import Intent
from .performing import serve_like
from .plan import Plan
from .ranges import ARMS, draw_targets
from .smooth_steps import step


def generate(skeleton: Skeleton, rng: np.random.Generator, kind: str) -> Performance:
    """A serve, shadow, throw or hold of a body; every draw is another movement."""
    return serve_like(intend, skeleton, rng, kind)


def intend(skeleton: Skeleton, plan: Plan, rng: np.random.Generator) -> Intent:
    """Paths of all dimensions: a step for each pair of neighbouring stations, and one more
    turning point on the way to loading for the arms.
    """
    stance = plan.stance
    targets = draw_targets(rng, (stance.front_yaw, stance.rear_yaw))
    if plan.kind == "hold":
        for path in targets.values():
            path[3] = path[2]
            path[4:] = path[0]
    names = list(targets)
    values = np.array([targets[n] for n in names])  # (C, 7)
    times = np.tile(plan.stations, (len(names), 1))
    if plan.kind == "hold":
        times[:, 3] = plan.times["hold_end"]
        ends = plan.times["end"] - np.array([0.3, 0.15, 0.0])
        times[:, 4:] = ends
    arms = np.array([n in ARMS for n in names])
    jitter = rng.uniform(-0.5, 0.5, times.shape)
    width = _jitter(plan)
    times = times + jitter * width * np.where(arms[:, None], 1.0, 0.6)
    times = np.maximum.accumulate(times, axis=1)
    values, times = _extra(rng, plan, names, values, times)
    return Intent(dict(zip(names, _follow(rng, plan, values, times), strict=True)))


def _jitter(plan: Plan) -> Array:
    """Width of the random shift of each station's time, seconds."""
    t = plan.stations
    room = np.minimum(np.diff(t, prepend=t[0] - 0.5), np.diff(t, append=t[-1] + 0.5))
    width = np.array([0.0, 0.7, 0.5, 0.5, 0.25, 0.6, 0.2]) * np.maximum(room, 0.0)
    return width * (0.0 if plan.kind == "hold" else 1.0)


def _extra(
    rng: np.random.Generator, plan: Plan, names: list[str], values: Array, times: Array
) -> tuple[Array, Array]:
    """Insert a turning point between start and release: full take-backs swing low or wide first,
    abbreviated ones go straight up (the point then lies on the way).
    """
    share = rng.uniform(0.3, 0.7, len(names))
    full = rng.random() < 0.6
    at = times[:, 0] + share * (times[:, 1] - times[:, 0])
    value = values[:, 0] + share * (values[:, 1] - values[:, 0])
    swing = {"h_el": (-25, 20), "h_az": (-30, 25), "h_flex": (-40, 25), "h_rot": (-25, 25)}
    for name, (low, high) in swing.items():
        if full:
            value[names.index(name)] += rng.uniform(low, high)
    return np.insert(values, 1, value, axis=1), np.insert(times, 1, at, axis=1)


def _follow(rng: np.random.Generator, plan: Plan, values: Array, times: Array) -> Array:
    """Superposed steps (C, T): each ends about its target's time and takes about the whole gap."""
    gaps = np.maximum(np.diff(times, axis=1), 0.03)
    hold = plan.kind == "hold"
    longer = 1.0 if hold else rng.uniform(0.85, 1.5, gaps.shape)
    end = times[:, 1:] + (0.0 if hold else 0.5 * (longer - 1.0) * gaps)
    begin = np.maximum(end - longer * gaps, plan.times["start"])
    t = plan.grid[None, None]
    rises = step(t, begin[..., None], np.maximum(end, begin + 0.05)[..., None])
    return np.asarray(values[:, :1] + np.sum(np.diff(values, axis=1)[..., None] * rises, axis=1))
