"""The analysis of a film: fetch it, run the pipeline over it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path

from models.contract.analysis import MINOR_CAUTIONS, Analysis
from models.contract.errors import ClipError, NoLongerKept
from models.contract.faces import Faces
from models.contract.joint_options import JointOptions
from models.contract.note import Note
from models.contract.plan import PracticeRules
from models.contract.resources import AnalysisOptions
from models.contract.tracks import BodyMotion
from models.contract.vocabulary import Stage
from models.practice.rules import rules_of
from models.words import Words, catalogue
from service.core.claims import Claim, StoredFilm
from service.core.joint_files import C3D, JSON, NPZ
from service.core.wiring import Wiring
from workers.derive.source import Source
from workers.engine.interface import EngineRequest, EngineResult
from workers.jobs.attempt import fetch_film
from workers.jobs.coach import brand_of
from workers.jobs.configured import decode_limits, shared_stages
from workers.jobs.lease import Lease
from workers.jobs.making import Made
from workers.jobs.shelf import sources_of
from workers.joints_in.result import analyse_joints
from workers.joints_in.walled import read_behind_walls
from workers.learned import load
from workers.pipeline import run as pipeline
from workers.pipeline.again import run_again
from workers.pipeline.faces import face_cover
from workers.pipeline.options import engine_request
from workers.pipeline.pair import run_pair, while_measuring
from workers.pipeline.result_files import headline, result_files
from workers.pipeline.stages import draw_pictures
from workers.pipeline.time_left import TimeLeft

ChooseStages = Callable[[tuple[str, ...] | None], pipeline.StageFunctions]
"""Returns the stages with the named pose networks; None = the operator's choice."""


def make(wiring: Wiring, claim: Claim, lease: Lease, folder: Path) -> Made:
    """Analyse the film by the stages that this installation is set to."""
    settings = wiring.settings
    return analyse(wiring, claim, lease, folder, lambda models: shared_stages(settings, models))


def analyse(wiring: Wiring, claim: Claim, lease: Lease, folder: Path, stages: ChooseStages) -> Made:
    """Analyse the film of a claim by these stages, or the joints of an earlier analysis of it, or
    the joints that were sent instead of a film.
    """
    clip = claim.film
    assert clip is not None
    lease(Stage.PROBE, 0.0)
    options = AnalysisOptions.model_validate(claim.request["options"])
    words = catalogue(options.language.value)
    cautions = MINOR_CAUTIONS if claim.minor else ()
    request = engine_request(options, seed=wiring.settings.engine_seed)
    text = claim.request.get("rules")
    rules = None if text is None else rules_of(text)
    if not clip.has_pictures:
        return _of_joints(wiring, claim, clip, lease, folder, options, request, cautions, rules)
    if claim.inputs:
        (earlier,) = sources_of(wiring, claim, lease, folder)
        again = run_again(
            earlier.analysis,
            earlier.joints()[0],
            request,
            load(),
            draw=_drawing(wiring, earlier, words) if claim.request.get("pictures") else None,
            rules=rules,
            report=lease,
            extra_cautions=cautions,
            second_track=None if claim.same_serve is None else earlier.second_joints(),
        )
        again = _without_faces(again, claim)
        if again.pictures and claim.minor and not earlier.faces_hidden:
            hidden = _pictures(wiring, earlier, again.analysis, again.bodies, words, hide=True)
            again = replace(again, hidden=pipeline.Drawings(hidden))
        return Made(tuple(result_files(again, words, brand_of(claim))), headline(again.analysis))
    # What one film costs foretells nothing of two, and what two have cost is no lesson for one.
    left = None if claim.same_serve else TimeLeft(lease.patiently(wiring.costs.read))
    if left is not None:
        lease.foretell(left)
    film = folder / "film"
    lease.patiently(lambda: fetch_film(wiring, clip, film))
    run = partial(
        pipeline.run,
        report=lease,
        sha256=clip.sha256,
        annotated_film=options.annotated_film,
        faces=options.faces,
        rules=rules,
        also_hidden=claim.minor and options.faces is Faces.SHOWN,
        extra_cautions=cautions,
        words=words,
        first_look=lambda verdict: lease.patiently(
            lambda: wiring.work.looked(claim.work_id, claim.attempt, verdict)
        ),
        time_left=left,
    )
    chosen = stages(options.models)
    second = claim.same_serve
    if second is None:
        result = run(film, request, chosen)
    else:
        beside = folder / "same_serve"
        lease.patiently(lambda: fetch_film(wiring, second, beside))
        read = partial(_read_second, second, lease)
        result = run_pair((film, run), (beside, read), request, chosen)
    files = tuple(result_files(result, words, brand_of(claim)))
    return Made(files, headline(result.analysis), result.analysis.clip, left)


def _read_second(
    film: StoredFilm,
    lease: Lease,
    path: Path,
    request: EngineRequest,
    stages: pipeline.StageFunctions,
) -> pipeline.PipelineResult:
    """Read the second film of a serve; what is wrong with it is told as its own."""
    report = while_measuring(lease)
    try:
        return pipeline.run(path, request, stages, report=report, sha256=film.sha256)
    except ClipError as error:
        error.extra.setdefault("about", film.clip_id)
        raise


SUFFIXES = {JSON: ".json", NPZ: ".npz", C3D: ".c3d"}
"""Format of a joint file by its media type."""


def _of_joints(
    wiring: Wiring,
    claim: Claim,
    clip: StoredFilm,
    lease: Lease,
    folder: Path,
    options: AnalysisOptions,
    request: EngineRequest,
    cautions: tuple[Note, ...],
    rules: PracticeRules | None,
) -> Made:
    """Measure a joint file. It is small and read anew each time, also where one asks for again."""
    path = folder / "joints"
    lease.patiently(lambda: fetch_film(wiring, clip, path))
    asked = options.joints or JointOptions()
    limits = decode_limits(wiring.settings)
    file = read_behind_walls(path, SUFFIXES[clip.media_type], limits, asked.markers or None)
    result = analyse_joints(
        file,
        request,
        target_xy=None if asked.target is None else (asked.target.x, asked.target.y),
        accuracy_m=asked.accuracy_m,
        sha256=clip.sha256,
        size_bytes=path.stat().st_size,
        report=lease,
        extra_cautions=cautions,
    )
    result = replace(result, analysis=pipeline.with_rules(result.analysis, rules))
    result = _without_faces(result, claim)
    files = tuple(result_files(result, catalogue(options.language.value), brand_of(claim)))
    return Made(files, headline(result.analysis), result.analysis.clip)


def _drawing(
    wiring: Wiring, earlier: Source, words: Words
) -> Callable[[Analysis, EngineResult], tuple[Mapping[str, bytes], None]]:
    """Return what draws the pictures of an earlier analysis anew, with the coach's own lines."""

    def draw(analysis: Analysis, found: EngineResult) -> tuple[Mapping[str, bytes], None]:
        hide = earlier.faces_hidden
        return _pictures(wiring, earlier, analysis, found.bodies, words, hide=hide), None

    return draw


def _pictures(
    wiring: Wiring,
    earlier: Source,
    analysis: Analysis,
    bodies: Sequence[BodyMotion | None],
    words: Words,
    *,
    hide: bool,
) -> Mapping[str, bytes]:
    film = earlier.film()
    if film is None:  # its time was over after this was asked for
        raise NoLongerKept()
    track, _ = earlier.joints()
    return draw_pictures(
        film,
        analysis,
        track,
        bodies,
        decode_limits(wiring.settings),
        words,
        own=earlier.own,
        cover=face_cover(track) if hide else None,
    )


def _without_faces(result: pipeline.PipelineResult, claim: Claim) -> pipeline.PipelineResult:
    """Return a result without pictures; of a possible minor its report is also there for guests."""
    return replace(result, hidden=pipeline.Drawings()) if claim.minor else result
