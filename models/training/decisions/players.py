"""Invented players: how they load, whether they coil or squat, what practice does and leaves."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from models.contract.skeleton import CANONICAL_BODY
from models.contract.tracks import BodyMotion
from models.contract.vocabulary import EventName, RepetitionKind
from models.training.packed_measure import true_sample, values_of
from models.training.rendered.knobs import ServeKnobs, sample_knobs
from models.training.rendered.movements.packed import FPS, joints_at_60
from models.training.rendered.movements.quick_truth import EVENTS, quick_events
from models.training.rendered.performance import perform
from models.training.rendered.skeleton import sample_skeleton
from workers.engine.coil import bend_gained, turn_away

from .coiling import TrueCoil

LOADS = (0.30, 0.45, 0.60, 0.75)
"""Shares of the weight over the rear foot, by posture, at the loaded instant of the baseline."""
COIL_DEG, SQUAT_DEG = 24.0, 2.0
"""Turn of the pelvis from set-up to the loaded instant: a coil, and a squat."""
GAIN = 0.15
"""What practice adds to the share."""
RELAPSED = 0.05
"""Share of the gain that is left after a relapse; all of it stays where it is kept."""
HELD = (0.45, 0.55, 0.60, 0.65)
"""Shares held in the drill's clip."""

Course = Literal["kept", "relapse", "no_gain"]
COURSES: tuple[Course, ...] = ("kept", "relapse", "no_gain")
Values = Mapping[str, float]
"""True values by name of metric and instant (`MetricSpec.name`)."""


@dataclass(frozen=True)
class Player:
    """One invented player.

    Attributes
    ----------
    baseline, practised, later : Values
        True values of the typical serve of each session.
    coil : TrueCoil
        Of the typical serve of the baseline.
    held : float
        Share of the weight over the rear foot in the static hold.
    """

    name: str
    load: float
    coils: bool
    course: Course
    held: float
    baseline: Values
    practised: Values
    later: Values
    coil: TrueCoil


def players(seed: int) -> Iterator[Player]:
    """Yield 24 players: every load, coil and squat, kept, relapsed and without a gain."""
    number = 0
    for load in LOADS:
        for coils in (True, False):
            for course in COURSES:
                rng = np.random.default_rng([seed, number])
                held = HELD[number % len(HELD)]
                yield _player(f"player {number + 1}", load, coils, course, held, rng)
                number += 1


def _player(
    name: str, load: float, coils: bool, course: Course, held: float, rng: np.random.Generator
) -> Player:
    skeleton = sample_skeleton(rng)
    knobs = sample_knobs(rng)
    turn = knobs.setup_turn + (COIL_DEG if coils else SQUAT_DEG)
    knobs = knobs.changed(
        rear_share=load, pelvis_turn=turn, knee_turn=4.0 if coils else 0.0, foot_up=0.0
    )
    gain = 0.0 if course == "no_gain" else GAIN
    left = {"kept": 1.0, "relapse": RELAPSED, "no_gain": 0.0}[course]
    (before, coil), (after, _), (later, _) = (
        _true(skeleton, knobs.changed(rear_share=load + more)) for more in (0.0, gain, left * gain)
    )
    return Player(name, load, coils, course, held, before, after, later, coil)


def _true(skeleton: object, knobs: ServeKnobs) -> tuple[Values, TrueCoil]:
    """Return the true values of a serve, and how far it turns and bends."""
    performance = perform("serve", skeleton, knobs, seed=7)  # type: ignore[arg-type]
    joints = joints_at_60(performance)
    origin = joints[:3, CANONICAL_BODY.pair("ankle")].mean(axis=(0, 1))
    names = {"start": EventName.SET_UP} | {event.value: event for event in EventName}
    times = zip(EVENTS, quick_events(performance), strict=True)
    events = {names[name]: float(when) for name, when in times if name in names}
    motion = BodyMotion(
        time_s=np.arange(len(joints)) / FPS,
        frame_index=np.arange(len(joints)),
        joints=joints - origin,
        sd=np.full(joints.shape, 0.001),
        mirrored=False,
        stature_m=performance.motion.skeleton.height,
        method="joints_in",
    )
    body = true_sample(motion, events)
    coil = TrueCoil(float(turn_away(body)[0]), float(bend_gained(body)[0]))
    return values_of(motion, RepetitionKind.SERVE, events), coil
