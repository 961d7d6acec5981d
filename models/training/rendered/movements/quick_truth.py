"""Events and metrics of one performance, quickly: for sets of very many movements.

The same definitions as `truth.event_times`, searched on a coarser grid and refined by a parabola;
they agree to 2 ms (a test).
"""

from __future__ import annotations

import numpy as np

from models.training.rendered import truth_formulas as f
from models.training.rendered.performance import Performance
from models.training.rendered.pose import Body, racket_points
from models.training.rendered.rotation import Array

EVENTS = ("start", "release", "loading", "trophy", "racket_low", "contact", "finish", "hold_end")
METRICS = (*f.POSTURE, "trunk_lean", "trunk_side")
_STEP = 1.0 / 240.0


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
    t = np.arange(knots["release"], knots["contact"] + 2 * _STEP, _STEP)
    body = motion.body(t)
    p = body.points
    early = t < min(knots["load"] + 0.25, knots["low"])
    knee = sum(f.flexion(p[f"{s}_hip"], p[f"{s}_knee"], p[f"{s}_ankle"]) for s in "LR")
    out["loading"] = _lowest(t[early], p["mid_hip"][early, 2])
    out["trophy"] = _lowest(t[early], -np.asarray(knee)[early])
    late = (t >= knots["load"]) & (t <= knots["contact"])
    tip = racket_points(motion.skeleton, body)[late, 2, 2]
    top = int(np.argmax(tip[: max(len(tip) // 2, 1)]))
    out["racket_low"] = _lowest(t[late][top:], tip[top:])
    out |= {"contact": knots["contact"], "finish": knots["finish"]}
    return np.array(list(out.values()))


def _lowest(t: Array, y: Array) -> float:
    """Time of the least value, between the samples by a parabola."""
    i = int(np.argmin(y))
    if i in (0, len(y) - 1):
        return float(t[i])
    bend = y[i - 1] - 2 * y[i] + y[i + 1]
    return float(t[i] + 0.5 * _STEP * (y[i - 1] - y[i + 1]) / bend) if bend > 0 else float(t[i])


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
