"""The stages of the pipeline from settings: the composition root of the workers."""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from functools import cache, partial
from pathlib import Path

from models import registry
from models.contract.analysis import Analysis, ModelUse
from models.contract.annotations import Annotations
from models.contract.errors import ModelUnknown
from models.contract.note_codes import NoteCode, say
from models.contract.thresholds import Threshold
from models.contract.tracks import BodyMotion, FloatArray, JointTrack
from models.contract.vocabulary import Sex
from models.words import Words
from workers.engine.interface import EngineResult
from workers.engine.mass import centre_of_mass
from workers.engine.windows import where_fast, worth_a_look
from workers.learned import load
from workers.pipeline.both_views import draw_views, film_views
from workers.pipeline.faces import FaceCover, face_cover
from workers.pipeline.film import Film, OpenedFilm, Wanted
from workers.pipeline.first_look import Looked, Stretches
from workers.pipeline.run import StageFunctions
from workers.pipeline.watched import Watched
from workers.pose.choice import BlazePoseVariant, Networks, PoseChoice, SecondNetwork, open_networks
from workers.pose.estimate import estimate
from workers.pose.proxy import EVERY_S
from workers.pose.session import Device
from workers.report.annotated_film import MARGIN_S, annotated_film
from workers.report.canvas import Picture
from workers.report.pictures import event_pictures, frames_wanted
from workers.video.clip import grab_frames, open_clip
from workers.video.limits import DecodeLimits

LOG = logging.getLogger(__name__)

PICTURE_MEMORY = 256 * 1024 * 1024
"""Frames held at once while pictures are drawn, bytes."""


@dataclass(frozen=True, slots=True)
class StageChoice:
    """What the operator decides about the stages.

    Attributes
    ----------
    models : tuple of str
        A BlazePose network, then perhaps the second network.
    every_frame : bool
        Look at every frame closely, without a first look: what the bench compares with.
    beside : bool
        Run the second network in a thread of its own.
    """

    models: tuple[str, ...] = (BlazePoseVariant.HEAVY.value, SecondNetwork.THUNDER.value)
    device: str = Device.CPU.value
    limits: DecodeLimits = field(default_factory=DecodeLimits)
    pictures: bool = True
    every_frame: bool = False
    beside: bool = False


def pose_choice(models: tuple[str, ...], device: str) -> PoseChoice:
    """Return the networks of these names.

    Raises
    ------
    ModelUnknown
        When a name is not shipped, or the first one is not a BlazePose network.
    """
    for name in models:
        registry.entry(name)
    first, *others = models
    main = [variant.value for variant in BlazePoseVariant]
    second = [network.value for network in SecondNetwork if network is not SecondNetwork.NONE]
    if first not in main or len(others) > 1 or any(name not in second for name in others):
        raise ModelUnknown(say(NoteCode.NETWORKS_ASKED, first=tuple(main), second=tuple(second)))
    return PoseChoice(
        blazepose=BlazePoseVariant(first),
        second=SecondNetwork(others[0]) if others else SecondNetwork.NONE,
        device=Device(device),
    )


@cache
def networks(models: tuple[str, ...], device: str) -> Networks:
    """Return opened networks, one set a process; forked jobs inherit the sets of their parent."""
    return open_networks(pose_choice(models, device))


def build_stages(choice: StageChoice) -> StageFunctions:
    """Return the real stages."""
    opened = networks(choice.models, choice.device)
    engine = load()

    def clip(
        path: Path, capture_fps: float | None, wanted: Wanted | None
    ) -> AbstractContextManager[OpenedFilm]:
        every_s = EVERY_S if wanted is None else None
        return open_clip(
            path, choice.limits, indices=wanted, every_s=every_s, capture_fps=capture_fps
        )

    def track(film: Film, looked: Looked, closely_seen: Callable[[], None]) -> JointTrack:
        def worth(coarse: JointTrack) -> Stretches:
            stretches = worth_a_look(coarse)
            looked(coarse, stretches)
            return stretches

        def so_far(coarse: JointTrack) -> bool:
            return looked.so_far(coarse, worth_a_look(coarse))

        chosen = None if choice.every_frame else worth
        watched = Watched(film)
        seen = estimate(
            watched,
            opened,
            lambda _time_s: closely_seen(),
            chosen,
            where_fast,
            so_far,
            threaded=choice.beside,
        )
        return watched.completed(seen.track)

    def draw(
        path: Path,
        analysis: Analysis,
        joints: JointTrack,
        found: EngineResult,
        words: Words,
        *,
        hide: bool = False,
    ) -> Mapping[str, bytes]:
        cover = face_cover(joints, opened.finder) if hide else None
        return draw_pictures(
            path, analysis, joints, found.bodies, choice.limits, words, cover=cover
        )

    def film(
        path: Path,
        analysis: Analysis,
        joints: JointTrack,
        found: EngineResult,
        words: Words,
        *,
        hide: bool = False,
    ) -> bytes | None:
        cover = face_cover(joints, opened.finder) if hide else None
        return draw_film(path, analysis, joints, found, choice.limits, words, cover=cover)

    def hiding(joints: JointTrack) -> FaceCover:
        return face_cover(joints, opened.finder)

    views = partial(draw_views, limits=choice.limits)
    in_step = partial(film_views, limits=choice.limits)
    return StageFunctions(
        open_clip=clip,
        estimate=track,
        glance=engine.glance,
        measure=engine.analyse,
        measure_pair=engine.analyse_pair,
        draw=draw if choice.pictures else _no_pictures,
        models=(*models_used(opened), *engine.models),
        engine_identity=engine.identity,
        film=film,
        draw_hidden=partial(draw, hide=True) if choice.pictures else _no_pictures,
        film_hidden=partial(film, hide=True),
        draw_beside=views if choice.pictures else None,
        film_beside=in_step,
        draw_beside_hidden=partial(views, cover=hiding) if choice.pictures else None,
        film_beside_hidden=partial(in_step, cover=hiding),
    )


def models_used(opened: Networks) -> tuple[ModelUse, ...]:
    """Return the networks that took part, for the result."""
    return tuple(
        ModelUse(
            name=session.name, sha256=session.sha256, licence=registry.entry(session.name).licence
        )
        for session in opened.sessions
    )


def draw_pictures(
    path: Path,
    analysis: Analysis,
    track: JointTrack,
    bodies: Sequence[BodyMotion | None],
    limits: DecodeLimits,
    words: Words | None = None,
    *,
    thresholds: Sequence[Threshold] | None = None,
    own: Annotations | None = None,
    cover: FaceCover | None = None,
) -> dict[str, bytes]:
    """Return the pictures of the events; frames are read again, a bounded number at a time.

    Thresholds of the practice rules and own lines: as for `event_pictures`. ``cover``: hides faces.
    """
    masses = _centres_of_mass(bodies, analysis.sex)
    capture_fps = analysis.clip.capture_fps_given
    pictures: dict[str, bytes] = {}
    times = dict(zip(track.frame_index.tolist(), track.time_s.tolist(), strict=True))
    for indices in _batches(frames_wanted(analysis), track.width * track.height * 3):
        known = all(index in times for index in indices)
        wanted = {index: times[index] for index in indices} if known else indices
        grabbed = grab_frames(path, wanted, limits, capture_fps=capture_fps)
        frames = {index: frame.rgb for index, frame in grabbed.items()}
        if cover is not None:
            frames = cover.all_hidden(frames)
        pictures |= event_pictures(
            frames, analysis, track, bodies, masses, thresholds=thresholds, own=own, words=words
        )
    return pictures


def draw_film(
    path: Path,
    analysis: Analysis,
    track: JointTrack,
    found: EngineResult,
    limits: DecodeLimits,
    words: Words | None = None,
    *,
    cover: FaceCover | None = None,
) -> bytes | None:
    """Return the annotated film, MP4; the clip is read again, one frame at a time.

    ``cover`` hides the faces. None when no frame belongs to a repetition: a missing extra must not
    fail the analysis.
    """
    masses = _centres_of_mass(found.bodies, analysis.sex)
    with open_clip(path, limits, capture_fps=analysis.clip.capture_fps_given) as clip:
        frames: Iterator[tuple[int, Picture]] = ((frame.index, frame.rgb) for frame in clip)
        if cover is not None:
            frames = cover.film(frames, shown_stretches(analysis))
        try:
            return annotated_film(frames, analysis, track, found.bodies, masses, words=words)
        except ValueError as error:
            LOG.warning("no annotated film: %s", error)
            return None


def shown_stretches(analysis: Analysis) -> list[tuple[float, float]]:
    """Return the seconds of a film that an annotated film can show, with room beside them."""
    room = 2 * MARGIN_S
    return [(one.start_s - room, one.end_s + room) for one in analysis.repetitions]


def _centres_of_mass(bodies: Sequence[BodyMotion | None], sex: Sex) -> list[FloatArray | None]:
    return [None if body is None else centre_of_mass(body.joints, sex) for body in bodies]


def _batches(indices: tuple[int, ...], frame_bytes: int) -> Iterator[tuple[int, ...]]:
    size = max(3, PICTURE_MEMORY // max(1, frame_bytes))
    for start in range(0, len(indices), size):
        yield indices[start : start + size]


def _no_pictures(
    _path: Path, _analysis: Analysis, _track: JointTrack, _found: EngineResult, _words: Words
) -> Mapping[str, bytes]:
    return {}
