"""Movements that begin with forces: leg drive and load path first, the posture solved to them.

A vertical course of the centre of mass is drawn (how deep, how fast, flight or none; in the air it
falls freely), and the share of the force over the rear foot. The centre of mass then moves as the
zero-moment point asks: x'' z = (g + z'') (x - x_zmp) (Gait Posture 1995, 3(4):193-214, from
memory), solved as a boundary-value problem. Legs are solved to it. Arms and trunk are smooth random
functions (Gaussian processes) through values drawn at some instants, free of the legs.
"""

from __future__ import annotations

import itertools

import numpy as np
from scipy.interpolate import BPoly
from scipy.linalg import solve_banded

from models.training.rendered.implements import GRAVITY
from models.training.rendered.performance import Performance
from models.training.rendered.rotation import Array
from models.training.rendered.skeleton import Skeleton

from .intent import Intent
from .performing import serve_like
from .plan import RATE, Plan
from .ranges import DIMENSIONS, draw_targets
from .smooth_steps import step, wander

#: height of the centre of mass of a person standing straight with arms raised, shares of standing
#: height (arms down 0.55-0.57 by de Leva's segments, J Biomech 1996, 29(9):1223-1230); where the
#: legs do not reach it they are straight
_STANDING = (0.560, 0.600)
_FELL = 0.12
"""Share of the way between the feet, at either end, at which nobody stands still (working value:
about a foot's width)."""
_LEGS = frozenset({"front_knee", "rear_knee", "share", "balance"})


def generate(skeleton: Skeleton, rng: np.random.Generator, kind: str) -> Performance:
    """A serve, shadow, throw or hold of a body; every draw is another movement."""
    return serve_like(intend, skeleton, rng, kind)


def intend(skeleton: Skeleton, plan: Plan, rng: np.random.Generator) -> Intent:
    """Paths of trunk and arms, and the centre of mass on its way."""
    stance = plan.stance
    targets = draw_targets(rng, (stance.front_yaw, stance.rear_yaw))
    names = [d for d in DIMENSIONS if d not in _LEGS]
    values = np.array([targets[n] for n in names])
    paths = dict(zip(names, _processes(rng, plan, values), strict=True))
    height = _height(skeleton, plan, rng)
    return Intent(paths, height=height, place=_place(skeleton, plan, rng, targets, height))


def _processes(rng: np.random.Generator, plan: Plan, values: Array) -> Array:
    """Gaussian processes (C, T) with a squared-exponential kernel through the stations' values,
    about minimum-variation means.
    """
    t, times = plan.grid, plan.stations
    if plan.kind == "hold":
        times = np.array([times[0], times[1], times[2], plan.times["hold_end"], plan.times["end"]])
        values = values[:, [0, 1, 2, 2, 0]]
    else:  # the posture of the most bent knees, which come late here
        times = times.copy()
        times[2] += 0.4 * (times[3] - times[2])
    clock = np.cumsum(_pace(plan)) / RATE
    at = np.interp(times, t, clock)
    length = float(rng.uniform(0.16, 0.30))
    kernel = np.exp(-0.5 * ((at[:, None] - at[None]) / length) ** 2) + 1e-3 * np.eye(len(at))
    cross = np.exp(-0.5 * ((clock[:, None] - at[None]) / length) ** 2)
    mean = values.mean(axis=1, keepdims=True)
    weights = np.linalg.solve(kernel, (values - mean).T)
    path = mean + (cross @ weights).T
    # what lies between the stations is free: a prior draw made to vanish at them
    scale = 0.35 * np.std(values, axis=1)
    loose = wander(rng, clock, scale, 0.25 / length * 0.5, 0.25 / length)
    grid_rows = np.array([np.interp(at, clock, row) for row in loose])
    loose = loose - (cross @ np.linalg.solve(kernel, grid_rows.T)).T
    start = step(t, plan.times["start"], plan.times["start"] + 0.35)
    both = path + (0.0 if plan.kind == "hold" else 1.0) * loose
    return np.asarray(values[:, :1] + start * (both - values[:, :1]))


def _pace(plan: Plan) -> Array:
    """How fast the processes' clock runs: faster in the drive, so that arms can be quick there, and
    hardly in a hold.
    """
    t, times = plan.grid, plan.times
    if plan.kind == "hold":
        still = step(t, times["load"] - 0.2, times["load"])
        return 1.0 - 0.999 * still * (1 - step(t, times["hold_end"], times["hold_end"] + 0.2))
    quick = 0.42 / max(times["contact"] - times["load"], 0.2)
    drive = step(t, times["load"] - 0.1, times["load"] + 0.1)
    drive = drive * (1 - step(t, times["contact"], times["finish"]))
    whip = 0.13 / max(times["contact"] - times["low"], 0.05)
    near = step(t, times["low"] - 0.08, times["low"])
    near = near * (1 - step(t, times["contact"], times["contact"] + 0.08))
    return 1.0 + (1.6 * quick - 0.6) * drive + 1.4 * whip * near


def _drop(s: Skeleton, knee: float) -> float:
    """How much lower the hip stands over the ankle with a knee flexion in degrees, metres."""
    c = np.cos(np.radians(knee))
    return float(s.leg - np.sqrt(s.thigh**2 + s.shank**2 + 2 * s.thigh * s.shank * c))


def _height(s: Skeleton, plan: Plan, rng: np.random.Generator) -> Array:
    """Height of the centre of mass (T,): C2 pieces between drawn heights, speeds and forces."""
    times, stance = plan.times, plan.stance
    tall = float(rng.uniform(*_STANDING)) * s.height
    first = tall - 0.5 * _drop(s, rng.uniform(3, 30))
    # a wide stance and a bent trunk lower the body by about 4 % of a standing height by themselves
    deep = tall - max(_drop(s, rng.uniform(2, 84)) - 0.04 * s.height, 0.0)
    dip = rng.uniform(-0.1, 1.0)  # how far on the way down at release
    push = float(rng.uniform(0.2, 1.4)) * GRAVITY  # over body weight at the deepest
    if plan.kind == "hold":
        knots = [0.0, times["start"], times["load"], times["hold_end"], times["end"]]
        knots = [*knots, plan.grid[-1] + 1.0]
        rows = [(first, 0.0, 0.0)] * 2 + [(deep, 0.0, 0.0)] * 2 + [(first, 0.0, 0.0)] * 2
        return _pieces(knots, rows, plan.grid)
    if plan.kind == "shadow":
        push *= 0.15
    release = first + dip * (deep - first) * 0.8
    rise = max(times["contact"] - times["load"], 0.1)
    push = min(push, 6.0 * (tall - deep + 0.03) / rise**2)
    rows = [(first, 0.0, 0.0)] * 2 + [(release, 0.6 * (deep - first), 0.0), (deep, 0.0, push)]
    # knees are most bent a little after the body is lowest, as it moves over the front foot
    lowest = times["load"] - 0.35 * min(times["load"] - times["release"], 0.3)
    knots = [0.0, times["start"], times["release"], lowest]
    # from the knees still bent to up on the toes
    reach = tall - _drop(s, rng.uniform(0, 40)) + float(rng.uniform(-0.01, 0.03)) * s.height
    if stance.flight:
        up = 0.5 * GRAVITY * stance.flight
        down = stance.take_off + stance.flight
        rows += [(reach, up, -GRAVITY), (reach, -up, -GRAVITY)]
        knots += [stance.take_off, down]
        soft = down + float(rng.uniform(0.12, 0.22))
        rows.append((tall - _drop(s, rng.uniform(25, 70)), 0.0, 0.6 * GRAVITY))
    else:
        rows.append((reach, 0.1, -0.1 * GRAVITY))
        knots.append(times["contact"])
        soft = times["contact"] + float(rng.uniform(0.2, 0.4))
        rows.append((tall - _drop(s, rng.uniform(10, 55)), 0.0, 0.1 * GRAVITY))
    last = tall - _drop(s, rng.uniform(5, 15))
    knots += [soft, max(times["end"], soft + 0.3), plan.grid[-1] + 1.0]
    return _pieces(knots, [*rows, (last, 0.0, 0.0), (last, 0.0, 0.0)], plan.grid)


def _pieces(knots: list[float], rows: list[tuple[float, float, float]], t: Array) -> Array:
    """Quintic pieces with value, speed and acceleration at each knot; free fall stays exact."""
    start = min(knots[0], float(t[0])) - 1.0
    curve = BPoly.from_derivatives([start, *knots], [rows[0], *rows], orders=5)
    return np.asarray(curve(t))


def _place(
    s: Skeleton, plan: Plan, rng: np.random.Generator, targets: dict[str, Array], height: Array
) -> Array:
    """Place of the centre of mass on the floor (T, 2) under a drawn course of the force's share."""
    t, times, stance = plan.grid, plan.times, plan.stance
    share = np.full_like(t, targets["share"][0])
    marks = ["start", "release", "load"] + ([] if plan.kind == "hold" else ["low", "contact"])
    drawn = {
        m: float(v) for m, v in zip(("start", "release", "load"), targets["share"], strict=False)
    }
    # the body's weight lags behind the force's point
    drawn |= {"release": float(rng.uniform(0.25, 1.15)), "load": float(rng.uniform(0.30, 1.35))}
    if plan.kind == "hold":  # nobody holds still whose weight is not between the feet
        drawn |= {m: _FELL + (1.0 - 2.0 * _FELL) * drawn[m] / 1.35 for m in ("release", "load")}
    drawn |= {"low": float(rng.uniform(-0.05, 0.75)), "contact": float(rng.uniform(-0.1, 0.2))}
    for before, after in itertools.pairwise(marks):
        rise = step(t, times[before] + 0.0, times[after])
        share = share + (drawn[after] - drawn[before]) * rise
    rear_path = np.tile(stance.rear, (len(t), 1))
    if stance.rear_up is not None:
        rear_path = rear_path + step(t, stance.slide_from, stance.slide_to)[:, None] * (
            stance.rear_up - stance.rear
        )
    front = np.tile(stance.front, (len(t), 1))
    if stance.flight:
        go = step(t, stance.take_off, stance.take_off + stance.flight)[:, None]
        front = front + go * np.array([stance.land, stance.aside])
    last = {"finish": float(rng.uniform(-0.1, 0.1)), "end": float(rng.uniform(0.4, 0.6))}
    if plan.kind == "hold":
        back = step(t, times["hold_end"], times["end"])
        share = share + back * (drawn["start"] - drawn["load"])
        rear_path = rear_path + back[:, None] * (stance.rear - rear_path)
    else:
        share = share + step(t, times["contact"], times["finish"]) * (
            last["finish"] - drawn["contact"]
        )
        share = share + step(t, times["finish"], times["end"]) * (last["end"] - last["finish"])
    if stance.rear_off is not None:
        away = step(t, stance.rear_off - 0.1, stance.rear_off)[:, None]
        here = step(t, stance.rear_on - 0.1, stance.rear_on + 0.05)[:, None]
        line = stance.front - stance.rear
        stand_in = front - 0.35 * line / np.linalg.norm(line)
        rear_path = rear_path + away * (stand_in - rear_path)
        rear_path = rear_path + here * (stance.rear_to - rear_path)
    # feet points are the balls; the ankle, to which shares refer, lies behind
    heel = 0.8 * float(s.ball[0])
    front = front - heel * _forward(stance.front_yaw)
    rear_path = rear_path - heel * _forward(stance.rear_yaw)
    point = rear_path + (1.0 - share)[:, None] * (front - rear_path)
    normal = _normal(stance.front - stance.rear)
    point = point + float(rng.uniform(-0.06, 0.03)) * normal
    return _balanced(point, height)


def _forward(yaw: float) -> Array:
    a = np.radians(yaw)
    return np.array([np.cos(a), -np.sin(a)])


def _normal(line: Array) -> Array:
    return np.array([-line[1], line[0]]) / float(np.linalg.norm(line))


def _balanced(point: Array, height: Array) -> Array:
    """Centre of mass (T, 2) whose zero-moment point is `point` (T, 2).

    (g + z'') x - z x'' = (g + z'') point, x at both ends over the point; three bands.
    """
    h = 1.0 / RATE
    force = np.maximum(GRAVITY + np.gradient(np.gradient(height, h), h), 0.0)
    bend = height / h**2
    bands = np.zeros((3, len(height)))
    bands[1] = force + 2.0 * bend
    bands[0, 1:] = -bend[:-1]
    bands[2, :-1] = -bend[1:]
    right = force[:, None] * point
    bands[1, 0] = bands[1, -1] = 1.0
    bands[0, 1] = bands[2, -2] = 0.0
    right[0], right[-1] = point[0], point[-1]
    return np.asarray(solve_banded((1, 1), bands, right))
