"""Things that are not serves: standing, walking, a groundstroke-like swing, bouncing the ball."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from .body_measures import straighter_knee
from .implements import BALL_RADIUS, GRAVITY, Flight, Held, held_ball
from .knobs import ServeKnobs
from .posture_solver import solve_posture
from .rotation import Array
from .serve_motion import Motion, make_curves
from .serve_postures import Posture, arm, base_postures, hitting
from .skeleton import Skeleton


@dataclass(frozen=True)
class OtherMotion:
    """A motion, its ball and how long it lasts."""

    motion: Motion
    ball: list[Held | Flight]
    duration: float


def other_motion(kind: str, s: Skeleton, k: ServeKnobs, seed: int) -> OtherMotion:
    """Motion of the given kind, varied by seed."""
    makers: dict[str, Callable[[Skeleton, ServeKnobs, np.random.Generator], OtherMotion]]
    makers = {"stand": _stand, "walk": _walk, "forehand": _forehand, "bounce": _bounce}
    return makers[kind](s, k, np.random.default_rng(seed))


def _settle(s: Skeleton, posture: Posture, knee: float) -> Posture:
    """Pelvis height at which the straighter knee has the given flexion."""
    return solve_posture(s, posture, {"pz": 0.5}, [(straighter_knee(s.gender), knee, 0.5)])


def _ready(s: Skeleton, k: ServeKnobs) -> Posture:
    return _settle(s, base_postures(s, k, -0.14, -0.8)["set_up"], k.setup_knee)


def _motion(s: Skeleton, knots: dict[str, float], postures: dict[str, Posture]) -> Motion:
    return Motion(s, knots, make_curves(knots, postures))


def _stand(s: Skeleton, k: ServeKnobs, rng: np.random.Generator) -> OtherMotion:
    """Waiting: the head looks about, the arms shift a little."""
    ready = _ready(s, k)
    knots, postures = {"0": 0.3}, {"0": ready}
    t = 0.3
    for i in range(1, 5):
        t += float(rng.uniform(0.6, 1.0))
        move = {"h_turn": float(rng.uniform(0, 100)), "h_pitch": float(rng.uniform(-10, 25))}
        move |= {"h_flex": float(rng.uniform(40, 85)), "t_flex": float(rng.uniform(30, 85))}
        knots[str(i)], postures[str(i)] = t, ready | move
    return OtherMotion(_motion(s, knots, postures), [], t + 0.3)


def _walk(s: Skeleton, k: ServeKnobs, rng: np.random.Generator) -> OtherMotion:
    """Walking along a straight line with the racket hanging."""
    heading, step = float(rng.uniform(-30, 30)), float(rng.uniform(0.52, 0.68))
    if rng.random() < 0.5:
        heading += 180.0
    pace = float(rng.uniform(0.50, 0.60))
    a = np.radians(heading)
    ahead, left = np.array([np.cos(a), -np.sin(a)]), np.array([np.sin(a), np.cos(a)])
    origin = np.array([-0.6, -0.8]) - 1.2 * ahead
    base = base_postures(s, k, -0.14, -0.8)["set_up"]
    knots: dict[str, float] = {}
    postures: dict[str, Posture] = {}
    steps = 6
    for i in range(steps + 1):
        swing_left = i % 2 == 0
        at = origin + ahead * step * i
        feet: Posture = {}
        for side, sign in (("F", 1.0), ("R", -1.0)):
            forward = 0.5 * step if (side == "F") == swing_left else -0.5 * step
            x, y = at + ahead * (forward + 0.10) + left * sign * 0.09
            lifted = 26.0 if forward < 0 else 0.0
            feet |= {
                f"{side}_x": x,
                f"{side}_y": y,
                f"{side}_z": s.ball_height,
                f"{side}_heel": lifted,
            }
            feet |= {f"{side}_yaw": heading - sign * 7, f"{side}_toe": 0.0}
        swing = 22.0 if swing_left else -22.0
        # arms swing against the legs; the plane of elevation flips between ahead (90) and behind
        # (-90)
        body = {
            "px": at[0],
            "py": at[1],
            "p_turn": heading + 0.2 * swing,
            "t_turn": heading - 0.25 * swing,
        }
        body |= {
            "p_pitch": 4.0,
            "t_pitch": 6.0,
            "h_turn": heading,
            "h_pitch": 4.0,
            "p_roll": 0.0,
            "t_roll": 0.0,
        }
        arms = hitting(20 + 0.5 * swing, 50, -12, 24 + 0.3 * swing, 28, 60) | arm(
            "t", 20 - 0.5 * swing, 50, -12, 24
        )
        posture = _settle(s, base | feet | body | arms, 6.0)
        t = 0.2 + pace * i
        knots[f"{i}"], postures[f"{i}"] = t, posture
        if i < steps:  # mid-swing: the trailing foot passes the standing leg
            mover, stander = ("R", "F") if swing_left else ("F", "R")
            sign = 1.0 if mover == "F" else -1.0
            x, y = at + ahead * (0.5 * step + 0.05) + left * sign * 0.10
            passing = posture | {
                f"{mover}_x": x,
                f"{mover}_y": y,
                f"{mover}_z": s.ball_height + 0.07,
            }
            centre = at + ahead * 0.5 * step
            passing |= {
                f"{mover}_heel": 20.0,
                f"{stander}_heel": 0.0,
                "px": centre[0],
                "py": centre[1],
            }
            passing = _settle(s, passing, 8.0)
            keep = {c for c in passing if c[0] in "FR" and c[1] == "_"} | {"px", "py", "pz"}
            knots[f"{i}m"], postures[f"{i}m"] = t + 0.5 * pace, {c: passing[c] for c in keep}
    return OtherMotion(_motion(s, knots, postures), [], 0.2 + pace * steps)


def _forehand(s: Skeleton, k: ServeKnobs, rng: np.random.Generator) -> OtherMotion:
    """A swing at waist height from a side-on stance, over the opposite shoulder."""
    ready = _ready(s, k) | {"t_pitch": 16.0}
    scale = float(rng.uniform(0.85, 1.25))
    back = ready | hitting(52, -38, 5, 40, 45, 40) | arm("t", 62, 40, 0, 25)
    back |= {"p_turn": 104.0, "t_turn": 128.0, "h_turn": 30.0, "p_roll": 0.0, "t_roll": 2.0}
    drop = (
        back
        | hitting(40, -20, 12, 34, 62, 60)
        | {"p_turn": 72.0, "t_turn": 96.0, "px": ready["px"] + 0.05}
    )
    hit = drop | hitting(52, 48, 0, 34, 55, 60) | arm("t", 42, 55, -20, 80)
    hit |= {
        "p_turn": 24.0,
        "t_turn": 16.0,
        "px": ready["px"] + 0.14,
        "R_heel": 28.0,
        "h_turn": 14.0,
        "h_pitch": 8.0,
    }
    over = (
        hit
        | hitting(104, 112, 10, 106, 40, -20)
        | {"p_turn": -8.0, "t_turn": -34.0, "R_heel": 46.0}
    )
    over |= {"px": ready["px"] + 0.20}
    times = np.cumsum([0.4, 0.62 * scale, 0.26 * scale, 0.15 * scale, 0.36 * scale, 0.9])
    shapes = [
        ready,
        _settle(s, back, 26),
        _settle(s, drop, 28),
        _settle(s, hit, 22),
        _settle(s, over, 16),
        ready,
    ]
    names = ("ready", "back", "drop", "hit", "over", "end")
    knots = dict(zip(names, (float(t) for t in times), strict=True))
    return OtherMotion(
        _motion(s, knots, dict(zip(names, shapes, strict=True))), [], float(times[-1]) + 0.2
    )


def _bounce(s: Skeleton, k: ServeKnobs, rng: np.random.Generator) -> OtherMotion:
    """Bouncing the ball in front of the body with the tossing hand."""
    ready = _ready(s, k) | {"t_pitch": 24.0, "p_pitch": 14.0, "h_pitch": 30.0}
    high = ready | arm("t", 34, 58, -10, 62)
    low = ready | arm("t", 38, 58, -8, 28)
    knots, postures = {"0": 0.2, "1": 0.5}, {"0": ready, "1": high}
    t, contacts = 0.5, []
    for i in range(int(rng.integers(3, 6))):
        knots[f"{i}d"], postures[f"{i}d"] = t + 0.16, low
        contacts.append(t + 0.16)
        t += 0.62
        knots[f"{i}u"], postures[f"{i}u"] = t, high
    knots["end"], postures["end"] = t + 0.4, ready
    motion = _motion(s, knots, postures)
    ball: list[Held | Flight] = [Held(0.0, contacts[0], "L")]
    for first, second in zip(contacts, [*contacts[1:], None], strict=True):
        start = held_ball(s, motion.body(np.array([first])), "L")[0]
        catch = first + 0.40 if second is None or second - first > 0.4 else second
        down, up = _floor_bounce(
            first, start, catch, held_ball(s, motion.body(np.array([catch])), "L")[0]
        )
        ball += [down, up, Held(catch, second if second is not None else t + 1.0, "L")]
    return OtherMotion(motion, ball, t + 0.6)


def _floor_bounce(t0: float, start: Array, t1: float, end: Array) -> tuple[Flight, Flight]:
    """Two flights that meet on the floor: thrown down from `start`, back up to `end`."""
    share = 0.42
    mid = t0 + share * (t1 - t0)
    floor = 0.5 * (start + end)
    floor[2] = BALL_RADIUS

    def between(a: float, p: Array, b: float, q: Array) -> Flight:
        dt = b - a
        return Flight(a, b, p, (q - p) / dt + np.array([0.0, 0.0, 0.5 * GRAVITY * dt]), "bounce")

    return between(t0, start, mid, floor), between(mid, floor, t1, end)
