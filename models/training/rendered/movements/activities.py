"""What is no serve: swings, squats, jumps, picking up, stretching; standing, walking, bouncing.

Made of minimum-jerk steps between freely drawn postures, with the same body, feet and deviations
as serves; no key posture is shared. ``stand``, ``walk`` and ``bounce`` are `other_motion`'s.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from models.training.rendered.knobs import sample_knobs
from models.training.rendered.performance import OTHER, Performance, perform
from models.training.rendered.skeleton import Skeleton

from .assemble import Draft
from .bodily import collides
from .intent import Intent, deviate
from .performing import ATTEMPTS
from .plan import MARGIN, RATE, Plan, draw_plan
from .ranges import BY_STATION, draw
from .smooth_steps import bump, step, wander

#: a posture: dimension -> value; and when it is reached
Key = tuple[float, dict[str, float]]


def generate(skeleton: Skeleton, rng: np.random.Generator, kind: str) -> Performance:
    """A performance without a serve.

    Raises
    ------
    ValueError
        For a kind that is not one of `ACTIVITIES`.
    """
    if kind in OTHER and kind != "forehand":
        done = perform(kind, skeleton, sample_knobs(rng), seed=int(rng.integers(1 << 31)))
        return replace(done, left_handed=bool(rng.random() < 0.35))
    if kind not in _KEYS:
        raise ValueError(f"unknown activity {kind!r}: one of {', '.join(ACTIVITIES)}")
    for _ in range(ATTEMPTS):
        tried = _attempt(skeleton, rng, kind)
        if tried is not None:
            return tried
    raise RuntimeError(f"no {kind} without a collision in {ATTEMPTS} attempts")


def _attempt(skeleton: Skeleton, rng: np.random.Generator, kind: str) -> Performance | None:
    ready = {d: draw(rng, d, "start") for d in BY_STATION}
    ready["p_turn"] = float(rng.uniform(-20, 40)) if kind != "smash" else float(rng.uniform(40, 90))
    keys = _KEYS[kind](rng, ready)
    plan = _plan(skeleton, rng, keys, ready["p_turn"])
    t = plan.grid
    paths = {d: np.full_like(t, v) for d, v in ready.items()}
    for d in ready:
        before, value = plan.times["start"], ready[d]
        for when, posture in [*keys, (plan.times["end"], ready)]:
            if d not in posture:
                continue
            begin = before + float(rng.uniform(0.0, 0.3)) * (when - before)
            paths[d] = paths[d] + (posture[d] - value) * step(t, begin, when)
            before, value = when, posture[d]
    moving = replace(plan, kind="shadow")  # deviations go on while it moves
    draft = Draft(skeleton, plan, deviate(Intent(paths), moving, rng), rng)
    draft.watches = False
    c = draft.channels
    about = wander(rng, t, rng.uniform(4.0, 18.0, 2), 0.2, 0.9)
    c["h_turn"], c["h_pitch"] = c["t_turn"] + about[0], 0.75 * c["t_pitch"] + about[1]
    if kind == "jump":
        for when, posture in keys:
            if "lift" in posture:
                air = bump(t, when, when + 2.83 * np.sqrt(posture["lift"] / 9.81))
                for side in "FR":
                    draft.feet[f"{side}_z"] = draft.feet[f"{side}_z"] + posture["lift"] * air
                    draft.channels[f"{side}_z"] = draft.feet[f"{side}_z"]
                    draft.feet[f"{side}_heel"] = draft.feet[f"{side}_heel"] + 30.0 * air
    motion = draft.finish()
    if collides(motion.on_grid()):
        return None
    return Performance(
        motion=motion,
        repetitions=[],
        ball=[],
        racket=kind in ("forehand", "backhand", "smash") or bool(rng.random() < 0.6),
        duration=plan.duration,
        left_handed=bool(rng.random() < 0.35),
        negative=kind,
    )


def _plan(s: Skeleton, rng: np.random.Generator, keys: list[Key], facing: float) -> Plan:
    """Feet that stand, turned about as the pelvis faces."""
    start, last = 0.3, keys[-1][0]
    end = last + float(rng.uniform(0.7, 1.2))
    times = {"start": start, "release": start, "load": last, "hold_end": last + 0.01}
    times |= {"low": last, "contact": end, "finish": end, "end": end}
    stance = draw_plan(s, rng, "hold").stance
    turn = facing - 60.0
    a = np.radians(-turn)
    about = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
    rear = stance.front + about @ (stance.rear - stance.front)
    stance = replace(
        stance,
        rear=rear,
        front_yaw=facing - float(rng.uniform(0, 25)),
        rear_yaw=facing + float(rng.uniform(5, 30)),
        rear_up=None,
    )
    duration = end + 0.3
    return Plan("hold", times, stance, np.arange(-MARGIN, duration + MARGIN, 1 / RATE), duration)


def _swing(rng: np.random.Generator, ready: dict[str, float], way: float) -> list[Key]:
    """A groundstroke: back, forward, over; ``way`` +1 forehand, -1 backhand."""
    u = rng.uniform
    turn = ready["p_turn"]
    back = {"p_turn": turn + way * u(20, 55), "separation": way * u(5, 40), "tilt": u(-10, 10)}
    back |= {"front_knee": u(15, 50), "rear_knee": u(15, 50), "t_pitch": u(5, 30)}
    back |= {"h_el": u(25, 70), "h_flex": u(15, 80), "h_rot": u(-20, 40), "r_tilt": u(20, 75)}
    back |= {"h_az": u(-40, 0) if way > 0 else u(70, 105), "share": u(0.4, 0.85)}
    hit = {"p_turn": turn + u(-25, 15), "separation": -way * u(0, 20), "share": u(0.1, 0.5)}
    hit |= {"h_el": u(30, 75), "h_flex": u(5, 50), "h_az": u(25, 65), "front_knee": u(10, 45)}
    over = {"p_turn": turn - way * u(5, 40), "separation": -way * u(5, 35), "t_flex": u(30, 90)}
    over |= {"h_el": u(70, 115), "h_flex": u(30, 110)}
    over["h_az"] = u(75, 112) if way > 0 else u(-30, 20)
    t0 = 0.3 + u(0.45, 0.9)
    t1 = t0 + u(0.18, 0.4)
    return [(t0, back), (t1, hit), (t1 + u(0.2, 0.45), over)]


def _smash(rng: np.random.Generator, ready: dict[str, float]) -> list[Key]:
    """An overhead hit of a ball that somebody else played: no toss of one's own."""
    u = rng.uniform
    up = {d: draw(rng, d, "load") for d in BY_STATION if d not in ("share", "balance")}
    up |= {"front_knee": u(8, 40), "rear_knee": u(8, 45), "share": u(0.4, 0.8)}
    hit = {d: draw(rng, d, "contact") for d in BY_STATION}
    low = {d: draw(rng, d, "low") for d in ("h_el", "h_az", "h_rot", "h_flex", "r_tilt")}
    low["share"] = u(0.2, 0.6)
    over = {d: draw(rng, d, "finish") for d in ("h_el", "h_az", "h_rot", "h_flex", "t_pitch")}
    t0 = 0.3 + u(0.5, 0.9)
    t1 = t0 + u(0.2, 0.6)
    return [(t0, up), (t1, low), (t1 + u(0.1, 0.16), hit), (t1 + u(0.45, 0.6), over)]


def _squats(rng: np.random.Generator, ready: dict[str, float]) -> list[Key]:
    u = rng.uniform
    keys: list[Key] = []
    t = 0.3
    for _ in range(int(rng.integers(1, 4))):
        deep = u(45, 115)
        down = {"front_knee": deep + u(-8, 8), "rear_knee": deep + u(-8, 8), "p_pitch": u(10, 40)}
        down |= {"t_pitch": u(10, 50), "h_el": u(20, 90), "t_el": u(20, 90), "share": u(0.4, 0.6)}
        t += u(0.5, 1.0)
        keys.append((t, down))
        t += u(0.45, 0.9)
        rise = {d: ready[d] for d in down}
        keys.append((t, rise))
    return keys


def _jumps(rng: np.random.Generator, ready: dict[str, float]) -> list[Key]:
    u = rng.uniform
    deep = u(35, 95)
    down = {
        "front_knee": deep,
        "rear_knee": deep + u(-8, 8),
        "t_pitch": u(5, 40),
        "p_pitch": u(5, 30),
    }
    down |= {"h_el": u(15, 60), "t_el": u(15, 60), "h_az": u(-40, 20), "t_az": u(-30, 20)}
    up = {"front_knee": u(4, 20), "rear_knee": u(4, 20), "t_pitch": u(-5, 10), "p_pitch": u(-5, 8)}
    up |= {"h_el": u(60, 150), "t_el": u(60, 160), "h_az": u(30, 90), "t_az": u(30, 90)}
    up["lift"] = u(0.06, 0.35)
    land = {"front_knee": u(30, 80), "rear_knee": u(30, 80), "t_pitch": u(5, 35), "h_el": u(15, 60)}
    land["t_el"] = u(15, 60)
    t0 = 0.3 + u(0.45, 0.9)
    t1 = t0 + u(0.25, 0.4)
    return [(t0, down), (t1, up), (t1 + 2.83 * (up["lift"] / 9.81) ** 0.5 + u(0.1, 0.25), land)]


def _pick_up(rng: np.random.Generator, ready: dict[str, float]) -> list[Key]:
    u = rng.uniform
    down = {"p_pitch": u(35, 72), "t_pitch": u(70, 94), "front_knee": u(25, 90)}
    down |= {"rear_knee": u(25, 100), "t_el": u(50, 95), "t_az": u(60, 95), "t_flex": u(3, 30)}
    down |= {"h_el": u(15, 60), "tilt": u(-15, 15), "share": u(0.35, 0.65), "s_pitch": u(0, 20)}
    t0 = 0.3 + u(0.7, 1.3)
    return [(t0, down), (t0 + u(0.15, 0.6), dict(down))]


def _stretch(rng: np.random.Generator, ready: dict[str, float]) -> list[Key]:
    """Reaching, twisting, bending while standing."""
    u = rng.uniform
    keys: list[Key] = []
    t = 0.3
    for _ in range(int(rng.integers(2, 5))):
        pose = {"separation": u(-40, 55), "tilt": u(-45, 50), "t_pitch": u(-30, 45)}
        pose |= {"p_turn": ready["p_turn"] + u(-25, 25), "h_el": u(15, 160), "t_el": u(15, 170)}
        pose |= {"h_az": u(-20, 85), "t_az": u(-20, 85), "h_flex": u(5, 120), "t_flex": u(5, 120)}
        pose |= {"h_rot": u(-40, 90), "t_rot": u(-40, 60), "share": u(0.25, 0.75)}
        pose |= {"front_knee": u(3, 40), "rear_knee": u(3, 40)}
        t += u(0.5, 1.1)
        keys.append((t, pose))
    return keys


_KEYS: dict[str, Callable[[np.random.Generator, dict[str, float]], list[Key]]] = {
    "forehand": lambda rng, ready: _swing(rng, ready, 1.0),
    "backhand": lambda rng, ready: _swing(rng, ready, -1.0),
    "smash": _smash,
    "squats": _squats,
    "jump": _jumps,
    "pick_up": _pick_up,
    "stretch": _stretch,
}
ACTIVITIES = (*_KEYS, "stand", "walk", "bounce")
"""Kinds of movement that are no serve."""
