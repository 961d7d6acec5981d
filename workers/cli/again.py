"""``servewright analyse --again FOLDER``: a result made anew from its stored joints."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from models.contract.errors import InvalidRequest
from models.contract.faces import Faces
from models.contract.note_codes import NoteCode, say
from models.contract.vocabulary import Handedness, Sex, Stage, View
from models.words import catalogue
from workers.cli.bar import Bar
from workers.cli.console import errors, results
from workers.cli.result_folder import (
    read_analysis,
    read_joints,
    read_own_lines,
    read_pictures,
    read_second_joints,
    sha256_of,
    write_result,
)

if TYPE_CHECKING:
    from models.contract.analysis import Analysis
    from models.contract.annotations import Annotations
    from models.contract.plan import PracticeRules
    from models.contract.resources import AnalysisOptions
    from models.contract.tracks import JointTrack
    from models.words import Words
    from service.core.settings import Settings
    from workers.engine.interface import EngineResult
    from workers.pipeline.run import PipelineResult

    Drawn = tuple[Mapping[str, bytes], bytes | None]


def run(
    earlier_folder: Path,
    film: Path | None,
    options: AnalysisOptions,
    folder: Path,
    *,
    minor: bool = False,
    rules: PracticeRules | None = None,
) -> PipelineResult:
    """Measure the joints in a result folder again, and write the files.

    What the earlier result was told (height, hand, view, sex, capture rate, hidden faces) holds
    again unless it is given anew. A result does not say what the swings were said to be, nor
    whether its azimuth was given: these must be given anew. Pictures and annotated film are made
    anew from the film, if it is given, with the coach's own lines; else those there are kept.

    Raises
    ------
    InvalidRequest
        If the folder holds no readable result, the film is not the one it came from, or faces are
        to be hidden without it.
    """
    from models.contract.analysis import MINOR_CAUTIONS
    from service.core.settings import Settings
    from workers.learned import load
    from workers.pipeline.again import run_again
    from workers.pipeline.options import engine_request
    from workers.pipeline.time_left import TimeLeft

    earlier = read_analysis(earlier_folder)
    track, _ = read_joints(earlier_folder, len(earlier.repetitions))
    second = None if earlier.second_view is None else read_second_joints(earlier_folder)
    if film is not None and sha256_of(film) != earlier.clip.sha256:
        raise InvalidRequest(say(NoteCode.NOT_THE_FILM, film=str(film), folder=str(earlier_folder)))
    options = as_told(earlier, options)
    if film is None and options.faces is not earlier.faces:
        raise InvalidRequest(say(NoteCode.FACES_NEED_FILM, folder=str(earlier_folder)))
    settings = Settings()
    words = catalogue(options.language.value)
    codes = {caution.code for caution in earlier.cautions}
    minor = minor or any(caution.code in codes for caution in MINOR_CAUTIONS)
    with Bar(errors(), TimeLeft()) as bar:
        result = run_again(
            earlier,
            track,
            engine_request(options, seed=settings.engine_seed),
            load(),
            faces=options.faces,
            rules=rules,
            draw=None
            if film is None
            else _drawing(film, track, options, settings, words, read_own_lines(earlier_folder)),
            report=bar,
            extra_cautions=MINOR_CAUTIONS if minor else (),
            second_track=second,
        )
        if film is None:
            result = _with_kept(result, earlier_folder)
        write_result(result, folder, words)
        bar(Stage.STORE, 1.0)
    return result


def as_told(earlier: Analysis, options: AnalysisOptions) -> AnalysisOptions:
    """Return the options, with what the earlier result was told where they say nothing."""
    told: dict[str, Any] = {}
    if options.height_m is None and earlier.scale.source == "given":
        told["height_m"] = earlier.scale.metres_per_body_height
    if options.handedness is Handedness.UNKNOWN and earlier.handedness_source == "given":
        told["handedness"] = earlier.handedness
    if options.view is View.UNKNOWN and earlier.view.source == "given":
        told["view"] = earlier.view.label
    if options.sex is Sex.UNKNOWN:
        told["sex"] = earlier.sex
    if options.capture_fps is None:
        told["capture_fps"] = earlier.clip.capture_fps_given
    if earlier.faces is Faces.HIDDEN:
        told["faces"] = Faces.HIDDEN
    return options.model_copy(update=told)


def show_redone(folder: Path, film: Path | None, words: Words) -> None:
    """Say what was made anew and what was kept."""
    kept = "terminal.again_kept" if film is None else "terminal.again_drawn"
    results().print("\n" + words(kept, folder=folder), markup=False)


def _drawing(
    film: Path,
    track: JointTrack,
    options: AnalysisOptions,
    settings: Settings,
    words: Words,
    own: Annotations | None,
) -> Callable[[Analysis, EngineResult], Drawn]:
    from workers.jobs.configured import decode_limits
    from workers.pipeline.faces import FaceCover, face_cover
    from workers.pipeline.stages import draw_film, draw_pictures

    limits = decode_limits(settings)

    def cover() -> FaceCover | None:
        return face_cover(track) if options.faces is Faces.HIDDEN else None

    def draw(analysis: Analysis, found: EngineResult) -> Drawn:
        pictures = draw_pictures(
            film, analysis, track, found.bodies, limits, words, own=own, cover=cover()
        )
        if not options.annotated_film:
            return pictures, None
        return pictures, draw_film(film, analysis, track, found, limits, words, cover=cover())

    return draw


def _with_kept(result: PipelineResult, folder: Path) -> PipelineResult:
    """Return the result with the pictures and the film that lie in the earlier folder."""

    film = folder / "film.mp4"
    return replace(
        result,
        pictures=read_pictures(folder),
        film=film.read_bytes() if film.is_file() else None,
    )
