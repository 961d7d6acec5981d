"""Sessions filmed from two places, one after the other: drawn tracks, measured and true values.

A player serves some times before a camera at the side and some times before one in the front
quarter; no serve is in both. Serves of one player differ in tempo and limbs (`pairs.repeated`);
what the network errs alike stays the same over the films of a place (`pairs.Habit`) and is drawn
anew at the other.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np

from models.contract.analysis import Analysis
from models.contract.clip import ClipFacts
from models.contract.tracks import BodyMotion, JointTrack
from models.contract.vocabulary import RepetitionKind
from models.training.events.dense import Array, Dense
from models.training.views.pairs import film, habit, movements, repeated
from models.training.views.told import told
from workers.engine.film_bodies import plain_estimate
from workers.engine.interface import EngineRequest
from workers.learned import LoadedEngine
from workers.pipeline.run import merge

PLACES = ((78.0, 102.0), (38.0, 68.0))
"""Azimuths of the side and of the front quarter, degrees."""
SERVES = 3
"""Serves before each camera."""
AIM_DEG = 2.0
"""How far a camera that is put up again stands from its place, degrees (working value)."""
EXACT_M, EXACT_SD_M = 1e-5, 1e-4
"""Standard deviations that true joints and the true height are given, metres: none, but for the
arithmetic."""
BEFORE_S = 0.4
"""What is read before the set-up, seconds, as the engine does."""
SERVE = RepetitionKind.SERVE


@dataclass(frozen=True)
class DrawnSession:
    """One player's session: analyses a place, and what was true of each serve a place, by metric
    name.
    """

    name: str
    analyses: tuple[tuple[Analysis, ...], ...]
    truths: tuple[tuple[Mapping[str, float], ...], ...]


def sessions(
    engine: LoadedEngine, use: str, generator: str, seed: int, count: int
) -> Iterator[DrawnSession]:
    """Draw sessions of a generator's players and have them measured; height and kind are given."""
    for number, dense in enumerate(movements(use, generator, seed, count)):
        rng = np.random.default_rng([seed, number, 18])
        analyses, truths = [], []
        for span in PLACES:
            place, usual = float(rng.uniform(*span)), habit(rng)
            seen, true = [], []
            for _ in range(SERVES):
                serve = repeated(dense, rng)
                shown = film(serve, place + float(rng.normal(0.0, AIM_DEG)), rng, usual)
                seen.append(_measured(engine, shown.track, serve.stature_m))
                true.append(true_values(serve))
            analyses.append(tuple(seen))
            truths.append(tuple(true))
        yield DrawnSession(dense.name, tuple(analyses), tuple(truths))


def _measured(engine: LoadedEngine, track: JointTrack, stature_m: float) -> Analysis:
    request = EngineRequest(stature_m=stature_m, drill=SERVE)
    track = replace(track, time_s=track.time_s - track.time_s[0])
    found = engine.analyse(track, request)
    rate = float(1.0 / np.median(np.diff(track.time_s)))
    facts = ClipFacts(
        duration_s=float(track.time_s[-1]),
        frame_rate=round(rate, 2),
        frames=len(track),
        width=track.width,
        height=track.height,
    )
    return merge(facts, (), (), found, request, engine.models, engine.identity)


def true_values(dense: Dense) -> dict[str, float]:
    """Return the metrics of a movement's own joints at its own events, by name."""
    rows = dense.time_s >= dense.events["set_up"] - BEFORE_S
    joints: Array = dense.joints[rows]
    motion = BodyMotion(
        time_s=dense.time_s[rows],
        frame_index=np.arange(len(joints)),
        joints=joints,
        sd=np.full(joints.shape, EXACT_M),
        mirrored=False,
        stature_m=dense.stature_m,
        method="exact",
    )
    found = told(motion, plain_estimate(motion).sample, dense.events, EXACT_SD_M)
    return {name: one.value for name, one in found.items() if one.value is not None}
