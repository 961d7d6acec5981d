"""From a generator's intents to performances: attempts, checks, ball, instants."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from models.training.rendered import truth_formulas as f
from models.training.rendered.implements import Flight, Held, held_ball, launched, struck, toss
from models.training.rendered.performance import Performance, Repetition
from models.training.rendered.pose import Body, racket_points
from models.training.rendered.rotation import Array
from models.training.rendered.skeleton import Skeleton

from .assemble import Draft
from .bodily import collides
from .grid_motion import GridMotion
from .intent import Intent, deviate
from .plan import Plan, draw_plan

Intend = Callable[[Skeleton, Plan, np.random.Generator], Intent]
#: movements drawn before one must do although its posture is worse than wanted
ATTEMPTS = 12


def serve_like(
    intend: Intend, skeleton: Skeleton, rng: np.random.Generator, kind: str
) -> Performance:
    """A serve, shadow, throw or hold of the intents of a generator.

    Movements in which the arms run into trunk or head, or the racket cannot meet the ball, are
    drawn again.

    Raises
    ------
    RuntimeError
        If no movement of `ATTEMPTS` passes; the body's proportions are then out of the ordinary.
    """
    plan, motion, body = attempt(intend, skeleton, rng, kind)
    return _performance(plan, motion, body, rng)


def attempt(
    intend: Intend, skeleton: Skeleton, rng: np.random.Generator, kind: str
) -> tuple[Plan, GridMotion, Body]:
    """The plan, the movement and the body on its grid that `serve_like` performs."""
    for _ in range(ATTEMPTS):
        plan = draw_plan(skeleton, rng, kind)
        intent = deviate(intend(skeleton, plan, rng), plan, rng)
        draft = Draft(skeleton, plan, intent, rng)
        if not _possible(skeleton, plan, draft.settle(), finished=False):
            continue  # most of what cannot be is seen before the posture is finished
        motion = draft.finish()
        body = motion.on_grid()
        if _possible(skeleton, plan, body):
            return plan, motion, body
    raise RuntimeError(f"no {kind} without a collision in {ATTEMPTS} attempts")


def _possible(s: Skeleton, plan: Plan, body: Body, finished: bool = True) -> bool:
    return _meets(s, plan, body, finished) and not collides(body)


def _meets(s: Skeleton, plan: Plan, body: Body, finished: bool = True) -> bool:
    """Whether the wrist is over the shoulder at contact and the hand releases above the waist."""
    if plan.kind == "hold":
        return True
    p = body.points
    i = int(np.argmin(np.abs(plan.grid - plan.times["contact"])))
    up = p["R_wrist"][i, 2] - p["R_shoulder"][i, 2] > 0.12 * s.height
    # the racket is turned to the ball only in a finished posture
    over = not finished or racket_points(s, body)[i, 1, 2] > 1.15 * s.height
    j = int(np.argmin(np.abs(plan.grid - plan.times["release"])))
    out = p["L_wrist"][j, 2] - p["L_shoulder"][j, 2] > -0.02 * s.height
    return bool(up and over and (out or plan.kind == "throw"))


def _performance(
    plan: Plan, motion: GridMotion, body: Body, rng: np.random.Generator
) -> Performance:
    repetition = Repetition(plan.kind, instants(plan, motion, body))
    notes: dict[str, float] = {}
    elevation = 50.0
    if plan.kind == "throw":
        elevation = float(rng.uniform(15, 75))
        notes["throw_elevation_deg"] = elevation
    return Performance(
        motion=motion,
        repetitions=[repetition],
        ball=_ball(plan, motion, elevation),
        racket=plan.kind != "throw",
        duration=plan.duration,
        left_handed=bool(rng.random() < 0.35),
        notes=notes,
    )


def instants(plan: Plan, motion: GridMotion, body: Body) -> dict[str, float]:
    """Times between which `truth.event_times` looks for events, from the movement itself."""
    times, t = plan.times, plan.grid
    out = {"set_up": times["start"], "release": times["release"], "end": times["end"]}
    if plan.kind == "hold":
        return out | {"load": times["load"], "hold_end": times["hold_end"]}
    contact = times["contact"]
    p = body.points
    knee = sum(f.flexion(p[f"{n}_hip"], p[f"{n}_knee"], p[f"{n}_ankle"]) for n in "LR")
    before = (t >= times["release"]) & (t <= contact - 0.25 * (contact - times["load"]))
    load = float(t[before][np.argmax(np.asarray(knee)[before])])
    tip = racket_points(motion.skeleton, body)[:, 2, 2]
    swing = (t >= load + 0.25 * (contact - load)) & (t <= contact)
    low = float(t[swing][np.argmin(tip[swing])])
    return out | {"load": load, "low": low, "contact": contact, "finish": times["finish"]}


def _ball(plan: Plan, motion: GridMotion, elevation: float) -> list[Held | Flight]:
    if plan.kind in ("shadow", "hold"):
        return []
    s, release, contact = motion.skeleton, plan.times["release"], plan.times["contact"]
    body = motion.body(np.array([release, contact]))
    if plan.kind == "throw":
        return [
            Held(0.0, contact, "R"),
            launched(contact, held_ball(s, body, "R")[1], 13.0, elevation),
        ]
    end: Array = racket_points(s, body)[1, 1] + np.array([0.035, 0.0, 0.0])
    return [
        Held(0.0, release, "L"),
        toss(release, held_ball(s, body, "L")[0], contact, end),
        struck(contact, end),
    ]
