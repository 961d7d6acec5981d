"""What happens in a clip: serves, drills of a serve, or something else; with its ball and its
events.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from .body_measures import balance_offset, straighter_knee
from .implements import Flight, Held, held_ball, launched, struck, toss
from .knobs import ServeKnobs
from .moving import Moving
from .other_motion import other_motion
from .pose import racket_points
from .posture_solver import solve_posture
from .rotation import Array
from .serve_motion import Motion, Shifts, make_curves, serve_postures
from .serve_postures import Posture
from .skeleton import Skeleton

SERVE_LIKE = ("serve", "shadow", "throw", "hold")
OTHER = ("stand", "walk", "forehand", "bounce")


@dataclass(frozen=True)
class Repetition:
    """One repetition: its kind and the times of its key postures in seconds."""

    kind: str
    knots: dict[str, float]


@dataclass(frozen=True)
class Performance:
    """A right-handed body in motion with its ball; `left_handed` mirrors everything at the end."""

    motion: Moving
    repetitions: list[Repetition]
    ball: list[Held | Flight]
    racket: bool
    duration: float
    left_handed: bool = False
    negative: str | None = None
    knobs: ServeKnobs | None = None
    notes: dict[str, float] = field(default_factory=dict)

    def ball_at(self, t: Array) -> list[tuple[Array, str] | None]:
        """Ball centre and state at each time; None when there is no ball in play."""
        out: list[tuple[Array, str] | None] = []
        body = self.motion.body(t) if any(isinstance(b, Held) for b in self.ball) else None
        hands = (
            {s: held_ball(self.motion.skeleton, body, s) for s in "LR"} if body is not None else {}
        )
        for i, now in enumerate(t):
            seen: tuple[Array, str] | None = None
            for part in self.ball:
                if part.t0 <= now <= part.t1:
                    seen = (
                        (hands[part.side][i], "held")
                        if isinstance(part, Held)
                        else (part.at(float(now)), part.state)
                    )
            out.append(seen)
        return out


def perform(
    kind: str,
    skeleton: Skeleton,
    knobs: ServeKnobs,
    *,
    count: int = 1,
    start: float = 0.5,
    rest: float = 2.2,
    hold: float = 3.0,
    slow: float = 2.4,
    sway: float = 0.004,
    seed: int = 0,
    throw_elevation: float = 50.0,
    left_handed: bool = False,
) -> Performance:
    """Build a performance of `count` repetitions; see `SERVE_LIKE` and `OTHER` for the kinds."""
    if kind in OTHER:
        done = other_motion(kind, skeleton, knobs, seed)
        motion = replace(done.motion, sway=sway, sway_seed=seed)
        return Performance(
            motion,
            [],
            done.ball,
            kind != "bounce" or seed % 2 == 0,
            done.duration,
            left_handed,
            kind,
            None,
        )
    if kind not in SERVE_LIKE:
        raise ValueError(f"unknown kind of performance {kind!r}")
    rng = np.random.default_rng(seed)
    knots: dict[str, float] = {}
    postures: dict[str, Posture] = {}
    shifts: Shifts = {}
    repetitions: list[Repetition] = []
    begin = start
    for index in range(count):
        turned = _again(knobs, rng) if index else knobs
        if kind == "shadow":
            turned = turned.changed(
                tempo=knobs.tempo * 0.6 * slow, drive=knobs.drive * slow, whip=knobs.whip * slow
            )
            turned = turned.changed(jump=0.0, land=0.03)
        when, what, moved = serve_postures(skeleton, turned, begin)
        if kind == "shadow":
            _keep_slow_landing(when, knobs.drive * slow)
        if kind == "hold":
            when, what, moved = _hold(skeleton, turned, when, what, hold)
        repetitions.append(Repetition(kind, dict(when)))
        for name in when:
            knots[f"{index}:{name}"] = when[name]
            postures[f"{index}:{name}"] = what[name]
        shifts |= {(f"{index}:{name}", channel): by for (name, channel), by in moved.items()}
        begin = max(when.values()) + rest
        if index + 1 < count:
            _step_back(
                skeleton,
                index,
                knots,
                postures,
                when,
                what,
                serve_postures(skeleton, knobs, 0.0)[1]["set_up"],
                begin,
            )

    motion = Motion(skeleton, knots, make_curves(knots, postures, shifts), sway, seed)
    notes: dict[str, float] = {}
    ball: list[Held | Flight] = []
    before = 0.0
    for repetition in repetitions:
        ball += _ball_of(kind, motion, repetition.knots, before, throw_elevation)
        before = repetition.knots.get("end", start) + 0.2 * rest
    if kind == "throw":
        notes["throw_elevation_deg"] = throw_elevation
    tail = 0.25 if kind in ("serve", "throw") else 0.6
    duration = max(knots.values()) + tail
    return Performance(
        motion, repetitions, ball, kind != "throw", duration, left_handed, None, knobs, notes
    )


def _again(k: ServeKnobs, rng: np.random.Generator) -> ServeKnobs:
    """The next repetition of the same player: small trial-to-trial differences (working values)."""
    spread = {
        "rear_share": 0.012,
        "knee_front": 2.0,
        "knee_rear": 2.0,
        "pelvis_turn": 2.0,
        "separation": 1.5,
    }
    spread |= {
        "shoulder_tilt": 1.5,
        "trophy_lean": 1.2,
        "contact_tilt": 1.5,
        "contact_lean": 1.2,
        "elbow_contact": 1.5,
    }
    spread |= {"reach": 1.2, "tempo": 0.015, "drive": 0.006}
    return k.changed(**{n: getattr(k, n) + float(rng.normal(0, s)) for n, s in spread.items()})


def _keep_slow_landing(when: dict[str, float], drive: float) -> None:
    """Spread the follow-through of a slow repetition as its drive is spread."""
    contact = when["contact"]
    for name, after in (("follow", 0.28), ("land", 0.6), ("finish", 1.1), ("end", 2.0)):
        when[name] = contact + after * drive


def _hold(
    s: Skeleton, k: ServeKnobs, when: dict[str, float], what: dict[str, Posture], seconds: float
) -> tuple[dict[str, float], dict[str, Posture], Shifts]:
    """Stop at the loaded posture for `seconds`, then go back to the set-up posture."""
    load = when["load"] + 0.3
    held = dict(what["load"])
    knots = {n: when[n] for n in ("set_up", "mid", "release", "rise")} | {
        "load": load,
        "hold_end": load + seconds,
    }
    knots["end"] = load + seconds + 1.1
    postures = {n: what[n] for n in ("set_up", "mid", "release", "rise", "load")}
    return knots, postures | {"hold_end": held, "end": dict(what["set_up"])}, {}


def _step_back(
    s: Skeleton,
    index: int,
    knots: dict[str, float],
    postures: dict[str, Posture],
    when: dict[str, float],
    what: dict[str, Posture],
    ready: Posture,
    begin: float,
) -> None:
    """Steps from where one repetition ended to the set-up place of the next."""
    end = max(when, key=lambda n: when[n])
    t0, span = when[end], begin - when[end]
    here, lift = what[end], s.ball_height + 0.07

    def add(name: str, share: float, posture: Posture) -> None:
        knots[f"{index}:{name}"] = t0 + share * span
        postures[f"{index}:{name}"] = posture

    def half(c: str) -> float:
        return 0.5 * (here[c] + ready[c])

    rear, front = ("R_x", "R_y", "R_yaw"), ("F_x", "F_y", "F_yaw")
    flat = {"R_z": s.ball_height, "F_z": s.ball_height, "R_heel": 0.0, "F_heel": 0.0}
    stay = flat | {c: here[c] for c in (*rear, *front)}
    mid_way = stay | {c: half(c) for c in rear} | {"R_z": lift, "R_heel": 12.0}
    across = stay | {c: ready[c] for c in rear}
    second = across | {c: half(c) for c in front} | {"F_z": lift, "F_heel": 12.0}
    arrived = across | {c: ready[c] for c in front}
    add("back0", 0.10, dict(stay))
    add("back1", 0.24, mid_way)
    add("back2", 0.38, across | {c: half(c) for c in ("px", "py", "p_turn", "t_turn")})
    add("back3", 0.54, second)
    add("back4", 0.70, arrived)
    for stage in ("back0", "back1", "back2", "back3", "back4"):
        share = (knots[f"{index}:{stage}"] - t0) / span
        guess = {c: here[c] + share * (ready[c] - here[c]) for c in ready} | postures[
            f"{index}:{stage}"
        ]
        free = {"px": 0.05, "py": 0.05, "pz": 0.2}
        targets = [(straighter_knee(s.gender), 14.0, 1.0), (balance_offset(s.gender), -0.02, 0.05)]
        solved = solve_posture(s, guess, free, targets)
        postures[f"{index}:{stage}"] |= {c: solved[c] for c in ("px", "py", "pz")}
    knots[f"{index}:ready"] = begin - 0.08 * span
    postures[f"{index}:ready"] = dict(ready)


def _ball_of(
    kind: str, motion: Motion, k: dict[str, float], before: float, elevation: float
) -> list[Held | Flight]:
    """Ball of one repetition."""
    if kind in ("shadow", "hold"):
        return []
    s = motion.skeleton
    contact = k["contact"]
    body = motion.body(np.array([contact]))
    if kind == "throw":
        start = held_ball(s, body, "R")[0]
        return [Held(before, contact, "R"), launched(contact, start, 13.0, elevation)]
    release = k["release"]
    start = held_ball(s, motion.body(np.array([release])), "L")[0]
    end = racket_points(s, body)[0, 1] + np.array([0.035, 0.0, 0.0])
    return [Held(before, release, "L"), toss(release, start, contact, end), struck(contact, end)]
