"""The order of the stages that turn a clip into measured serve mechanics.

Pure of I/O of its own: it calls the stages it is given, reports progress, times them and merges
what they found. Frames are streamed; at no time is more than one repetition's pictures in memory.
What the film shows (nobody, no serve, feet cut off) is stated in a completed analysis; what is
wrong with the file is raised.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from models.contract.analysis import Analysis, ModelUse, Scale, ViewEstimate
from models.contract.clip import ClipFacts, UsabilityCheck
from models.contract.costs import Step
from models.contract.errors import (
    ClipWithoutFrames,
    NoPerson,
    NoServeFound,
    ServewrightError,
)
from models.contract.faces import Faces
from models.contract.first_look import FirstLook
from models.contract.note import Note
from models.contract.plan import PracticeRules
from models.contract.problem import Problem
from models.contract.skeleton import LANDMARKS
from models.contract.tracks import BodyMotion, JointTrack
from models.contract.vocabulary import Handedness, Severity, Stage, View
from models.practice.rules import thresholds_of
from models.words import Words, english
from workers.decide.typical import typical_of
from workers.engine.first_look import Glance
from workers.engine.interface import ENGINE_VERSION, EngineRequest, EngineResult
from workers.pipeline.film import Film, OpenedFilm, Wanted
from workers.pipeline.first_look import Looked, Looker, Stretches, untold, verdict
from workers.pipeline.progress import PipelineProgress, Report, silent
from workers.pipeline.time_left import TimeLeft
from workers.video import usability

Draw = Callable[[Path, Analysis, JointTrack, EngineResult, Words], Mapping[str, bytes]]
DrawFilm = Callable[[Path, Analysis, JointTrack, EngineResult, Words], bytes | None]


@dataclass(frozen=True, slots=True)
class OtherFilm:
    """The second film of a serve, and its server's track."""

    path: Path
    track: JointTrack


DrawBeside = Callable[
    [Path, Analysis, JointTrack, EngineResult, Words, OtherFilm], Mapping[str, bytes]
]
FilmBeside = Callable[[Path, Analysis, JointTrack, EngineResult, Words, OtherFilm], bytes | None]


@dataclass(frozen=True, slots=True)
class StageFunctions:
    """The stages, chosen by whoever starts the pipeline.

    Attributes
    ----------
    open_clip : callable
        (path, capture_fps, wanted frames with their times, or None for a first reading) to a
        context manager of an `OpenedFilm`.
    estimate : callable
        (film, looked, closely seen) to the track of the server. Each call of the film starts at
        its first frame. Calls ``looked`` with the coarse track and the stretches that get a close
        look, where there is one, and ``closely seen`` once a frame of these. Raises `NoPerson` when
        nobody can be followed.
    glance : callable
        (track, stretches, request) to the engine's verdict at a first look.
    measure : callable
        The metrics engine.
    draw : callable
        (path, analysis, track, engine result, words) to pictures by file name.
    models : tuple of ModelUse
        The networks that `estimate` uses, and the learned files of `measure`.
    engine_identity : str or None
        Digest over code and learned data of `measure`.
    film : callable or None
        (path, analysis, track, engine result, words) to an annotated film, MP4.
    measure_pair : callable or None
        The metrics engine for two films of one serve.
    draw_beside, film_beside : callable or None
        Pictures and film of two films of one serve beside each other; None = there are none.
    draw_beside_hidden, film_beside_hidden : callable or None
        The same with hidden faces.
    draw_hidden, film_hidden : callable or None
        As ``draw`` and ``film``, with hidden faces; None = such pictures cannot be made, and there
        are none.
    """

    open_clip: Callable[[Path, float | None, Wanted | None], AbstractContextManager[OpenedFilm]]
    estimate: Callable[[Film, Looked, Callable[[], None]], JointTrack]
    glance: Callable[[JointTrack, Stretches, EngineRequest], Glance]
    measure: Callable[[JointTrack, EngineRequest], EngineResult]
    draw: Draw
    models: tuple[ModelUse, ...]
    engine_identity: str | None = None
    film: DrawFilm | None = None
    measure_pair: Callable[[JointTrack, JointTrack, EngineRequest], EngineResult] | None = None
    draw_hidden: Draw | None = None
    film_hidden: DrawFilm | None = None
    draw_beside: DrawBeside | None = None
    film_beside: FilmBeside | None = None
    draw_beside_hidden: DrawBeside | None = None
    film_beside_hidden: FilmBeside | None = None


@dataclass(frozen=True, slots=True)
class Drawings:
    """Pictures, JPEG by file name, and the annotated film if there is one."""

    pictures: Mapping[str, bytes] = field(default_factory=dict)
    film: bytes | None = None


@dataclass(frozen=True, slots=True)
class PipelineResult:
    """Everything that came out of one clip.

    Attributes
    ----------
    pictures : mapping of str to bytes
        JPEG files by name.
    timings_s : mapping of Stage to float
        Wall time of each stage, seconds.
    film : bytes or None
        The annotated film, if it was asked for and there is a repetition to show.
    hidden : Drawings or None
        The same with hidden faces, where it was asked for beside the others.
    second_track : JointTrack or None
        Landmarks of the second film of the serve, where there were two.
    """

    analysis: Analysis
    track: JointTrack
    bodies: tuple[BodyMotion | None, ...]
    pictures: Mapping[str, bytes] = field(default_factory=dict)
    timings_s: Mapping[Stage, float] = field(default_factory=dict)
    film: bytes | None = None
    hidden: Drawings | None = None
    second_track: JointTrack | None = None


class StageTimer:
    """Adds up the wall time of each stage and tells the stage in which an error arose."""

    def __init__(self, progress: PipelineProgress) -> None:
        self.seconds: dict[Stage, float] = {}
        self._progress = progress

    @contextmanager
    def stage(self, stage: Stage) -> Iterator[None]:
        """Time what is done in a stage."""
        self._progress.enter(stage)
        start = time.perf_counter()
        try:
            yield
        except ServewrightError as error:
            error.extra.setdefault("stage", stage.value)
            raise
        finally:
            self.seconds[stage] = self.seconds.get(stage, 0.0) + time.perf_counter() - start


def run(
    path: Path,
    request: EngineRequest,
    stages: StageFunctions,
    *,
    report: Report = silent,
    sha256: str | None = None,
    annotated_film: bool = False,
    faces: Faces = Faces.SHOWN,
    rules: PracticeRules | None = None,
    also_hidden: bool = False,
    extra_cautions: tuple[Note, ...] = (),
    words: Words | None = None,
    first_look: Callable[[FirstLook], None] = untold,
    time_left: TimeLeft | None = None,
) -> PipelineResult:
    """Analyse one clip.

    Parameters
    ----------
    path : Path
        The film.
    request : EngineRequest
        What the caller knows.
    report : callable
        Called with the stage and the share done, at least once a frame; what it raises ends the
        analysis.
    sha256 : str, optional
        Digest of the film, for its facts.
    annotated_film : bool
        Also make the film with the marks drawn in.
    faces : Faces
        Whether pictures and film show faces.
    rules : PracticeRules, optional
        Whose limits pictures and film show; the shipped rules' without.
    also_hidden : bool
        Make pictures and film a second time, with hidden faces.
    extra_cautions : tuple of Note
        Added to those that every analysis carries.
    words : Words, optional
        Language of pictures and film; English without.
    first_look : callable
        Receives the verdict of the first look, once; what it raises ends the analysis.
    time_left : TimeLeft, optional
        Times the steps, and learns what is still to come.

    Raises
    ------
    ClipError
        The file cannot be analysed. ``extra["stage"]`` names the stage.
    """
    words = words or english()
    progress = PipelineProgress(report)
    timer = StageTimer(progress)
    qualities: list[usability.FrameQuality] = []
    film = Film(
        lambda indices: stages.open_clip(path, request.capture_fps, indices),
        progress,
        sample=lambda frame: qualities.append(usability.frame_quality(frame.rgb)),
    )
    left = time_left or TimeLeft()
    left.begin(Step.FIRST_LOOK)
    looker = Looker(film, qualities, request, stages.glance, first_look, left, sha256)
    try:
        with timer.stage(Stage.PROBE):
            film.open()
            left.film(film.facts.duration_s, annotated=annotated_film)
        with timer.stage(Stage.POSE):
            try:
                track = stages.estimate(film, looker, left.one_more)
            except NoPerson:
                track = empty_track(film.facts)
        if film.frames == 0:
            raise ClipWithoutFrames(stage=Stage.DECODE.value)
        looker.close(track if person_seen(track) else None)
    finally:
        film.close()
    facts = film.facts.model_copy(update={"sha256": sha256})
    film_problems = tuple(_warning(error) for error in film.problems)
    # Frames arrive inside the pose stage; the waiting for them is decoding.
    timer.seconds[Stage.DECODE] = film.waited_s
    timer.seconds[Stage.POSE] = max(0.0, timer.seconds[Stage.POSE] - film.waited_s)

    left.begin(Step.MEASURE)
    with timer.stage(Stage.SERVE):
        found = stages.measure(track, request) if person_seen(track) else nobody(request)
    checks = usability.usability_checks(facts, qualities)
    analysis = merge(
        facts, film_problems, checks, found, request, stages.models, stages.engine_identity
    )
    analysis = with_cautions(analysis, extra_cautions).model_copy(update={"faces": faces})
    analysis = with_rules(analysis, rules)

    def drawn(draw: Draw | None, film: DrawFilm | None) -> Drawings:
        if not analysis.repetitions or draw is None:
            return Drawings()
        left.begin(Step.DRAW)
        pictures = draw(path, analysis, track, found, words)
        if not annotated_film or film is None:
            return Drawings(pictures)
        left.begin(Step.FILM)
        return Drawings(pictures, film(path, analysis, track, found, words))

    left.begin(Step.DRAW)
    hiding = (stages.draw_hidden, stages.film_hidden)
    hidden: Drawings | None = None
    with timer.stage(Stage.PICTURES):
        made = drawn(*hiding) if faces is Faces.HIDDEN else drawn(stages.draw, stages.film)
        if also_hidden:
            hidden = drawn(*hiding)
    left.begin(Step.STORE)
    return PipelineResult(
        analysis, track, found.bodies, made.pictures, timer.seconds, made.film, hidden
    )


def with_cautions(analysis: Analysis, more: tuple[Note, ...]) -> Analysis:
    """Return the analysis with further cautions."""
    if not more:
        return analysis
    return analysis.model_copy(update={"cautions": (*analysis.cautions, *more)})


def with_rules(analysis: Analysis, rules: PracticeRules | None) -> Analysis:
    """Return the analysis as it is shown by these practice rules; None = the shipped ones."""
    if rules is None:
        return analysis
    update = {"rules": rules.name, "thresholds": thresholds_of(rules)}
    return analysis.model_copy(update=update)


def person_seen(track: JointTrack) -> bool:
    """Tell whether the track holds a person in any frame."""
    return len(track) > 0 and bool(np.isfinite(track.xy).any())


def empty_track(facts: ClipFacts) -> JointTrack:
    """Return the track of a film in which nobody was followed."""
    n = len(LANDMARKS)
    return JointTrack(
        time_s=np.empty(0),
        frame_index=np.empty(0, np.int64),
        xy=np.empty((0, n, 2)),
        xy_raw=np.empty((0, n, 2)),
        confidence=np.empty((0, n)),
        world=np.empty((0, n, 3)),
        score=np.empty(0),
        disagreement_px=np.empty((0, n)),
        width=facts.width,
        height=facts.height,
        people=np.empty(0, np.int64),
    )


def nobody(request: EngineRequest) -> EngineResult:
    """Return what can be said of a film without a person."""
    given = request.handedness is not Handedness.UNKNOWN
    return EngineResult(
        view=ViewEstimate(label=View.UNKNOWN, source="unknown"),
        handedness=request.handedness,
        handedness_source="given" if given else "unknown",
        scale=Scale(
            metres_per_body_height=request.stature_m,
            source="given" if request.stature_m is not None else "unknown",
        ),
        problems=(Problem.of(NoPerson(), stage=Stage.POSE.value),),
    )


def merge(
    facts: ClipFacts,
    film_problems: Sequence[Problem],
    film_checks: Sequence[UsabilityCheck],
    found: EngineResult,
    request: EngineRequest,
    models: tuple[ModelUse, ...],
    engine_identity: str | None,
) -> Analysis:
    """Return the analysis document of what the stages found."""
    problems = [*film_problems, *found.problems]
    codes = {problem.code for problem in problems}
    if not found.repetitions and not codes & {NoPerson.code, NoServeFound.code}:
        problems.append(Problem.of(NoServeFound(), stage=Stage.SERVE.value))
    return Analysis(
        clip=facts,
        view=found.view,
        handedness=found.handedness,
        handedness_source=found.handedness_source,
        sex=request.sex,
        scale=found.scale,
        usability=verdict((*found.checks, *film_checks), problems),
        repetitions=found.repetitions,
        typical=typical_of(found.repetitions),
        second_view=found.second,
        problems=_once(problems),
        models=models,
        engine_version=ENGINE_VERSION,
        engine_identity=engine_identity,
    )


def _warning(error: ServewrightError) -> Problem:
    return Problem.of(error, severity=Severity.WARNING, stage=Stage.DECODE.value)


_ORDER = (Severity.BLOCKING, Severity.WARNING, Severity.NOTE)


def _once(problems: Iterable[Problem]) -> tuple[Problem, ...]:
    """Keep the first problem of each code, the gravest first."""
    kept: dict[str, Problem] = {}
    for problem in sorted(problems, key=lambda p: _ORDER.index(p.severity)):
        kept.setdefault(problem.code, problem)
    return tuple(kept.values())
