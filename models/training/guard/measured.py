"""The engine run on every frozen film in four ways, held against the truth."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from models.contract.metrics.definition import metric_name
from models.contract.tracks import BodyMotion, JointTrack
from models.contract.vocabulary import RepetitionKind, View
from models.training.guard.frozen import frozen_films, load
from models.training.guard.more_truth import full_truth
from models.training.guard.values import read_film_truth, request_for
from models.training.rendered.bodies import motion_of
from workers.engine import engine
from workers.engine.accuracy import ClipErrors, clip_errors, match
from workers.engine.interface import EngineRequest
from workers.learned import load as load_engine

Array = np.ndarray[Any, np.dtype[Any]]

NOISE_PX = 0.5
"""Of tracks that are disturbed to see how firm the figures are: less than the networks scatter
from frame to frame."""
STATED: dict[str, dict[str, Any]] = {
    "010": {"view": View.SIDE},
    "011": {"drill": RepetitionKind.SHADOW},
    "012": {"drill": RepetitionKind.THROW},
}
"""What the player may say of a film where the engine alone goes wrong: from a bent, still body the
camera's place is not found; joints alone cannot tell a good player's slow repetition from a slow
player's serve; a throw with a raised tossing arm looks like a serve."""


@dataclass(frozen=True)
class Body:
    """Fitted joints against true ones: mean distance in metres, size over true size."""

    clip: str
    distance_m: float
    size: float


@dataclass(frozen=True)
class Measured:
    """One film's comparisons.

    ``film`` as ``servewright accuracy`` runs it; ``plain`` every metric by every method, nothing
    corrected; ``joints`` from the true joints; ``stated`` with what the player may say, else None.
    ``corrected`` are pairs (error with correction, error without) over half the interval;
    ``units`` are those of the metrics by name.
    """

    clip: str
    film: ClipErrors
    plain: ClipErrors | None
    joints: ClipErrors | None
    stated: ClipErrors | None
    bodies: tuple[Body, ...]
    corrected: tuple[tuple[float, float], ...]
    units: Mapping[str, str]


def measure_film(clip: str, *, disturb: int | None = None, quick: bool = False) -> Measured:
    """Run the engine on a frozen film.

    ``disturb`` seeds noise on the track and the engine's own draws; None = the track as it is.
    ``quick`` leaves out all ways but ``film``.
    """
    document = read_film_truth(clip)
    truth = full_truth(document, clip)
    track = load(clip)
    request = request_for(document)
    if disturb is not None:
        track = _disturbed(track, disturb)
        request = replace(request, seed=disturb)

    def against_truth(found: Any) -> ClipErrors:
        view = found.view
        return clip_errors(truth, found.repetitions, view.label, view.azimuth_deg, found.handedness)

    learned = load_engine().learned
    film = engine.analyse(track, request, learned)
    plain = joints = said = None
    motion = motion_of(document)
    if not quick:
        plain = against_truth(engine.analyse(track, replace(request, calibrated=False), learned))
        drill = STATED.get(clip, {}).get("drill")
        known = EngineRequest(stature_m=motion.stature_m, drill=drill, seed=request.seed)
        joints = against_truth(engine.analyse_motion(motion, known))
    if clip in STATED and not quick:
        said = engine.analyse(track, replace(request, **STATED[clip]), learned)
    return Measured(
        clip=clip,
        film=against_truth(film),
        plain=plain,
        joints=joints,
        stated=None if said is None else against_truth(said),
        bodies=tuple(_body(clip, body, motion) for body in film.bodies if body is not None),
        corrected=tuple(_corrected(truth.repetitions, film)),
        units={
            metric_name(metric.key, metric.event): metric.unit
            for found in (film, *(() if said is None else (said,)))
            for repetition in found.repetitions
            for metric in repetition.metrics
        },
    )


def measure_all(*, disturb: int | None = None, quick: bool = False) -> list[Measured]:
    """Run the engine on all frozen films."""
    return [measure_film(clip, disturb=disturb, quick=quick) for clip in frozen_films()]


def _disturbed(track: JointTrack, seed: int) -> JointTrack:
    generator = np.random.default_rng(seed)

    def moved(points: Array) -> Array:
        return points + generator.normal(0.0, NOISE_PX, points.shape)

    sources = {
        name: np.concatenate([moved(values[..., :2]), values[..., 2:]], axis=-1)
        for name, values in track.sources.items()
    }
    return replace(track, xy=moved(track.xy), xy_raw=moved(track.xy_raw), sources=sources)


def _body(clip: str, body: BodyMotion, motion: BodyMotion) -> Body:
    true = motion.joints[body.frame_index]
    near = [points - points.mean(axis=1, keepdims=True) for points in (body.joints, true)]
    size = [np.linalg.norm(points, axis=-1).mean() for points in near]
    distance = np.linalg.norm(near[0] - near[1], axis=-1).mean()
    return Body(clip, float(distance), float(size[0] / size[1]))


def _corrected(known: Any, found: Any) -> Iterable[tuple[float, float]]:
    for true, repetition in match(known, found.repetitions):
        for metric in repetition.metrics:
            truth = true.metrics.get(metric_name(metric.key, metric.event))
            if truth is None or not metric.correction:
                continue
            if metric.value is None or metric.low is None or metric.high is None:
                continue
            half = (metric.high - metric.low) / 2.0
            away = metric.value - truth
            yield abs(away) / half, abs(away + metric.correction) / half
