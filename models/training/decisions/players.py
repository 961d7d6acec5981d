"""Invented players: how they load, whether they coil or squat, what practice does and leaves."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from models.contract.skeleton import CANONICAL_BODY
from models.contract.tracks import BodyMotion
from models.contract.vocabulary import EventName, RepetitionKind
from models.training.packed_measure import true_sample, values_of
from models.training.rendered.invented import PLAYERS, Course, Invented, invented
from models.training.rendered.knobs import ServeKnobs, sample_knobs
from models.training.rendered.movements.packed import FPS, joints_at_60
from models.training.rendered.movements.quick_truth import EVENTS, quick_events
from models.training.rendered.performance import perform
from models.training.rendered.skeleton import sample_skeleton
from workers.engine.coil import bend_gained, turn_away

from .coiling import TrueCoil

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
    """Yield the invented players, drawn with bodies and knobs of a seed."""
    for number in range(PLAYERS):
        yield _player(invented(number), np.random.default_rng([seed, number]))


def _player(asked: Invented, rng: np.random.Generator) -> Player:
    skeleton = sample_skeleton(rng)
    knobs = asked.technique(sample_knobs(rng))
    (before, coil), (after, _), (later, _) = (
        _true(skeleton, knobs.changed(rear_share=load)) for load in asked.loads
    )
    name = f"player {asked.number + 1}"
    return Player(
        name, asked.load, asked.coils, asked.course, asked.held, before, after, later, coil
    )


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
