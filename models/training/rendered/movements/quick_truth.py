"""Events and metrics of one performance, quickly: for sets of very many movements.

The same definitions as `truth.event_times`, searched on a coarse grid and then on a fine one about
what was found; they agree to 2 ms (a test).
"""

from __future__ import annotations

import numpy as np

from models.training.rendered import truth_formulas as f
from models.training.rendered.moving import Moving
from models.training.rendered.performance import Performance
from models.training.rendered.pose import Body, racket_points
from models.training.rendered.rotation import Array

EVENTS = ("start", "release", "loading", "trophy", "racket_low", "contact", "finish", "hold_end")
METRICS = (*f.POSTURE, "trunk_lean", "trunk_side")
#: coarse step in seconds, and the fine steps about its best
_STEP = 1.0 / 240.0
_NEAR = np.arange(-9, 10) * 0.0005


def quick_events(performance: Performance) -> Array:
    """Times of `EVENTS` in seconds, (8,), NaN where there is none."""
    out = dict.fromkeys(EVENTS, np.nan)
    if not performance.repetitions:
        return np.array(list(out.values()))
    repetition = performance.repetitions[0]
    knots, motion = repetition.knots, performance.motion
    out["start"] = knots["set_up"]
    if repetition.kind == "serve":
        out["release"] = knots["release"]
    if repetition.kind == "hold":
        out |= {"loading": knots["load"], "trophy": knots["load"]}
        out |= {"hold_end": knots["hold_end"], "finish": knots["end"]}
        return np.array(list(out.values()))
    contact = knots["contact"]
    t = np.arange(knots["release"], contact, _STEP)
    late = min(knots["load"] + 0.25, knots["low"])
    knee, hips, tip = _signals(motion, t)
    swing = t >= knots["load"]
    half = t < knots["load"] + 0.5 * (contact - knots["load"])
    top = t[swing][np.argmax(tip[swing & half])]
    windows = ((t[0], late), (t[0], late), (top, contact))
    rough = []
    for values, (first, last) in zip((hips, -knee, tip), windows, strict=True):
        inside = (t >= first) & (t < last)
        rough.append(float(t[inside][np.argmin(values[inside])]))
    near = np.array([np.clip(r + _NEAR, *w) for r, w in zip(rough, windows, strict=True)])
    fine = [part.reshape(near.shape) for part in _signals(motion, near.ravel())]
    found = [near[i, np.argmin(v[i])] for i, v in enumerate((fine[1], -fine[0], fine[2]))]
    out |= dict(zip(("loading", "trophy", "racket_low"), map(float, found), strict=True))
    out |= {"contact": contact, "finish": knots["finish"]}
    return np.array(list(out.values()))


def _signals(motion: Moving, t: Array) -> tuple[Array, Array, Array]:
    """Mean knee flexion, height of the pelvis and of the racket's tip, (T,) each."""
    body = motion.body(t)
    p = body.points
    front, rear = (f.flexion(p[f"{s}_hip"], p[f"{s}_knee"], p[f"{s}_ankle"]) for s in "LR")
    tip = racket_points(motion.skeleton, body)[:, 2, 2]
    return 0.5 * (front + rear), p["mid_hip"][:, 2], tip


def posture_values(body: Body, gender: float) -> Array:
    """`METRICS` of every instant, (T, M): degrees, shares, metres; turns absolute."""
    p = body.points
    rows = list(f.posture_metrics(p, gender).values())
    hips, shoulders = p["mid_hip"], f.mid_shoulder(p)
    rows += [f.lean_to_net(hips, shoulders), f.lean_to_left(hips, shoulders)]
    return np.stack(rows, axis=1)


def values_at(performance: Performance, events: Array) -> Array:
    """`METRICS` at each event, (8, M), NaN where there is none."""
    out = np.full((len(EVENTS), len(METRICS)), np.nan)
    known = np.isfinite(events)
    if known.any():
        body = performance.motion.body(events[known])
        out[known] = posture_values(body, performance.motion.skeleton.gender)
    return out
