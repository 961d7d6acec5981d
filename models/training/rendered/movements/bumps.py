"""Movements as sums of smooth bumps and slow oscillations, in phases.

Each dimension is a sum of hills, of lasting changes and of waves at random instants, with random
sizes; the least change of the sizes that brings it to values drawn at a few instants is added.
Pelvis, trunk, upper arm and forearm may lag behind each other (proximal to distal) or not.
"""

from __future__ import annotations

import itertools

import numpy as np

from models.training.rendered.performance import Performance
from models.training.rendered.rotation import Array
from models.training.rendered.skeleton import Skeleton

from .intent import Intent
from .performing import serve_like
from .plan import RATE, Plan
from .ranges import ARMS, BY_STATION, STATIONS, draw_targets, soft_limit
from .smooth_steps import step

#: hills, lasting changes and waves of each dimension
_HILLS, _CHANGES, _WAVES = 9, 5, 3
#: usual size of a bump in half ranges: arms, the rest
_ROUGH = (0.08, 0.18)
#: how far arms may leave the ranges of the stations in between, degrees
_BEYOND = 3.0
#: stations that bind every dimension, and those that bind the arms only and pull at the rest
_BOUND, _ARMS_ONLY = ("load", "contact", "end"), ("release", "low", "finish")
#: how loosely: variance in sizes of bumps
_FIRM, _LOOSE = 0.002, 0.6
#: place in the chain from pelvis to hand: the later, the more it lags
_CHAIN = {"p_turn": 0, "p_roll": 0, "p_pitch": 0, "separation": 1, "tilt": 1, "t_pitch": 1}
_CHAIN |= {"h_el": 2, "h_az": 2, "h_rot": 3, "h_flex": 3, "r_tilt": 4, "r_around": 4}


def generate(skeleton: Skeleton, rng: np.random.Generator, kind: str) -> Performance:
    """A serve, shadow, throw or hold of a body; every draw is another movement."""
    return serve_like(intend, skeleton, rng, kind)


def intend(skeleton: Skeleton, plan: Plan, rng: np.random.Generator) -> Intent:
    """Paths of all dimensions, (T,) each."""
    stance = plan.stance
    targets = draw_targets(rng, (stance.front_yaw, stance.rear_yaw))
    names = list(targets)
    values = np.array([targets[n] for n in names])
    lag = float(rng.uniform(-0.012, 0.035)) if plan.kind != "hold" else 0.0
    lags = lag * np.array([_CHAIN.get(n, 0) - 2.0 for n in names])
    clock = _clock(plan)
    begin, last = np.interp([plan.times["start"], plan.times["end"]], plan.grid, clock)
    span = last - begin
    u = (clock[None] - lags[:, None] - begin) / span  # (C, T)
    basis = _basis(rng, u)  # (C, N, T)
    rough = np.where([n in ARMS for n in names], *_ROUGH)[:, None]
    sizes = rng.normal(0.0, 1.0, basis.shape[:2]) * rough * _width(names)[:, None]
    paths = _bound(plan, names, values, basis, sizes)
    return Intent(dict(zip(names, _inside(plan, names, paths), strict=True)))


def _inside(plan: Plan, names: list[str], paths: Array) -> Array:
    """Arms kept near what they may do at each instant: free sums would put hands into the body."""
    if plan.kind == "hold":
        return paths
    t, stations = plan.grid, plan.stations
    rises = np.stack([step(t, a, b) for a, b in itertools.pairwise(stations)])
    out = paths.copy()
    for i, name in enumerate(names):
        if name in ARMS:
            edges = np.array(BY_STATION[name], dtype=np.float64)  # (7, 2)
            low, high = edges[0][:, None] + np.diff(edges, axis=0).T @ rises
            out[i] = soft_limit(paths[i], low - _BEYOND, high + _BEYOND, 6.0)
    return out


def _clock(plan: Plan) -> Array:
    """Time as the phases see it, seconds: it stands still in a hold."""
    t, times = plan.grid, plan.times
    if plan.kind != "hold":
        return t
    still = step(t, times["load"] - 0.25, times["load"])
    pace = 1.0 - still * (1 - step(t, times["hold_end"], times["hold_end"] + 0.25))
    return np.asarray(t[0] + np.cumsum(pace) / RATE)


def _basis(rng: np.random.Generator, u: Array) -> Array:
    """Hills, changes and waves (C, N, T) over the movement's own clock, 0 before its start."""
    count = len(u)
    spread = (np.arange(_HILLS) + rng.random((count, _HILLS))) / _HILLS
    width = rng.uniform(0.08, 0.22, spread.shape)
    hills = np.exp(-(((u[:, None] - spread[..., None]) / width[..., None]) ** 2))
    middle = (np.arange(_CHANGES) + rng.random((count, _CHANGES))) / _CHANGES
    half = rng.uniform(0.08, 0.25, middle.shape)
    changes = step(u[:, None], (middle - half)[..., None], (middle + half)[..., None])
    rate = rng.uniform(0.6, 2.4, (count, _WAVES, 1))
    waves = 0.5 * np.sin(2 * np.pi * (rate * u[:, None] + rng.random((count, _WAVES, 1))))
    ramp = step(u, 0.0, 0.22)[:, None]
    return np.asarray(np.concatenate([hills, changes, waves], axis=1) * ramp)


def _width(names: list[str]) -> Array:
    """Half the widest range of each dimension, the size of its usual bump."""
    table = {n: max(0.5 * (b - a) for a, b in BY_STATION[n]) for n in names if n in BY_STATION}
    return np.array([table.get(n, 25.0) for n in names])


def _bound(plan: Plan, names: list[str], values: Array, basis: Array, sizes: Array) -> Array:
    """Paths through the drawn values at the bound stations by the least change of sizes."""
    stations = list(_BOUND + _ARMS_ONLY)
    times = [plan.times[s] for s in stations]
    columns = [STATIONS.index(s) for s in stations]
    if plan.kind == "hold":
        times = [plan.times["load"], plan.times["end"], plan.times["release"]]
        columns = [STATIONS.index(s) for s in ("load", "start", "release")]
    firm = len(times) - (1 if plan.kind == "hold" else len(_ARMS_ONLY))
    slack = np.full((len(names), len(times)), _FIRM)
    slack[[n not in ARMS for n in names], firm:] = _LOOSE
    at = basis[:, :, np.searchsorted(plan.grid, np.array(times))]  # (C, N, E)
    miss = values[:, columns] - values[:, :1] - np.einsum("cn,cne->ce", sizes, at)
    gram = np.einsum("cne,cnf->cef", at, at) + slack[:, None] * np.eye(len(times))
    change = np.linalg.solve(gram, miss[..., None])[..., 0]
    sizes = sizes + np.einsum("cne,ce->cn", at, change)
    return np.asarray(values[:, :1] + np.einsum("cn,cnt->ct", sizes, basis))
