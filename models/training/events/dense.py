"""Movements sampled finely: joints, ball and exact events, without pictures."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from models.contract.skeleton import CANONICAL_BODY, canonical
from models.training.rendered.clips import make_performance
from models.training.rendered.performance import Performance
from models.training.rendered.profiles import draw_clip
from models.training.rendered.skeleton import sample_skeleton
from models.training.rendered.truth import event_times, joints_of

Array = np.ndarray[Any, np.dtype[Any]]
RATE = 240.0
"""Samples per second."""
NAMES = {"set_up": "start", "loading": "lowest_pelvis"}
"""The truth's names of events that it calls otherwise."""
AFTER_S = 0.5
"""What is kept after the finish, seconds."""


@dataclass(frozen=True)
class Dense:
    """A serve of a right-hander: times (T,), joints (T, 21, 3) and ball (T, 3), metres, NaN where
    there is none; events by the engine's names, seconds.
    """

    name: str
    time_s: Array
    joints: Array
    ball: Array
    stature_m: float
    events: dict[str, float]


def serves(profile: str, seed: int, count: int) -> Iterator[Dense]:
    """Serves of the clips of a profile; clips of another kind are passed over."""
    index = found = 0
    while found < count:
        spec, rng = draw_clip(profile, seed, index)
        index += 1
        if spec.kind != "serve":
            continue
        spec = replace(spec, left_handed=False)
        performance = make_performance(spec, sample_skeleton(rng))
        found += 1
        yield sampled(f"{profile}-{seed}-{index - 1:03d}", performance)


def sampled(name: str, performance: Performance) -> Dense:
    """Sample the first serve of a performance."""
    known = event_times(performance, performance.repetitions[0])
    end = min(performance.duration, known["finish"] + AFTER_S)
    time = np.arange(0.0, end, 1.0 / RATE)
    joints: Array = joints_of(performance, performance.motion.body(time))[:, : len(CANONICAL_BODY)]
    joints = canonical(joints, left_handed=False, axis=1)
    ball = np.array([[np.nan] * 3 if b is None else b[0] for b in performance.ball_at(time)])
    names = ("set_up", "release", "loading", "trophy", "racket_low", "contact", "finish")
    events = {n: known[NAMES.get(n, n)] for n in names if NAMES.get(n, n) in known}
    return Dense(name, time, joints, ball, performance.motion.skeleton.height, events)
