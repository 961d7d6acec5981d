"""Two films of one serve through the pipeline: the second gives its joints to the first."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path

from models.contract.analysis import Analysis
from models.contract.errors import FilmsNoPair
from models.contract.note_codes import NoteCode, say
from models.contract.tracks import JointTrack
from models.contract.vocabulary import Stage, View
from models.words import Words
from workers.engine.interface import EngineRequest, EngineResult
from workers.pipeline.progress import STAGE_SHARES, Report
from workers.pipeline.run import (
    Draw,
    DrawBeside,
    DrawFilm,
    FilmBeside,
    OtherFilm,
    PipelineResult,
    StageFunctions,
)

Run = Callable[[Path, EngineRequest, StageFunctions], PipelineResult]
"""`workers.pipeline.run.run` with everything else that an analysis is told."""
SECOND_SHARE = 0.8
"""Share of the first film's measuring that the second film's reading takes; only the feel of the
bar depends on it."""


def run_pair(
    first: tuple[Path, Run],
    second: tuple[Path, Run],
    request: EngineRequest,
    stages: StageFunctions,
) -> PipelineResult:
    """Analyse a serve from two films of it.

    The second film is read when the first is about to be measured, so that what a first look at
    the first film gives is told as early as with one film.

    Parameters
    ----------
    first, second : tuple
        Film, and how it is run.
    request : EngineRequest
        View, azimuth and capture rate are those of the first film; the second was recorded in real
        time.

    Raises
    ------
    ClipError
        A file cannot be analysed, or the films are no two views of one serve (`FilmsNoPair`).
    """
    measure_pair = stages.measure_pair
    if measure_pair is None:
        raise ValueError("these stages measure one film at a time")
    other, run_other = second
    apart = replace(request, view=View.UNKNOWN, azimuth_deg=None, capture_fps=None)
    alone = replace(stages, draw=_not_drawn, film=None, draw_hidden=None, film_hidden=None)
    read: list[PipelineResult] = []

    def measure(track: JointTrack, asked: EngineRequest) -> EngineResult:
        read.append(run_other(other, apart, alone))
        return measure_pair(track, read[0].track, asked)

    def beside() -> OtherFilm:
        return OtherFilm(other, read[0].track)

    path, run_first = first
    together = replace(
        stages,
        measure=measure,
        draw=_both(stages.draw, stages.draw_beside, beside),
        film=_in_step(stages.film, stages.film_beside, beside),
        draw_hidden=stages.draw_hidden
        and _both(stages.draw_hidden, stages.draw_beside_hidden, beside),
        film_hidden=stages.film_hidden
        and _in_step(stages.film_hidden, stages.film_beside_hidden, beside),
    )
    result = run_first(path, request, together)
    seen = result.analysis.second_view
    if seen is None or not read:
        raise FilmsNoPair(say(NoteCode.VIEWS_WITHOUT_SERVE))
    told = seen.model_copy(update={"clip": read[0].analysis.clip})
    analysis = result.analysis.model_copy(update={"second_view": told})
    return replace(result, analysis=analysis, second_track=read[0].track)


def while_measuring(report: Report) -> Report:
    """Return how the second film tells its progress: as part of measuring the first."""
    before = sum(STAGE_SHARES[stage] for stage in (Stage.PROBE, Stage.DECODE, Stage.POSE))

    def told(_stage: Stage, done: float) -> None:
        report(Stage.SERVE, before + SECOND_SHARE * STAGE_SHARES[Stage.SERVE] * done)

    return told


def _both(draw: Draw, draw_beside: DrawBeside | None, beside: Callable[[], OtherFilm]) -> Draw:
    """Return how pictures of the first film are drawn, and of both beside each other."""

    def drawn(
        path: Path, analysis: Analysis, track: JointTrack, found: EngineResult, words: Words
    ) -> Mapping[str, bytes]:
        pictures = dict(draw(path, analysis, track, found, words))
        if draw_beside is not None and analysis.second_view is not None:
            pictures |= draw_beside(path, analysis, track, found, words, beside())
        return pictures

    return drawn


def _in_step(
    film: DrawFilm | None, film_beside: FilmBeside | None, beside: Callable[[], OtherFilm]
) -> DrawFilm | None:
    """Return how the film is made: both in step where that can be, else the first alone."""
    if film_beside is None or film is None:
        return film

    def made(
        path: Path, analysis: Analysis, track: JointTrack, found: EngineResult, words: Words
    ) -> bytes | None:
        both = film_beside(path, analysis, track, found, words, beside())
        return both if both is not None else film(path, analysis, track, found, words)

    return made


def _not_drawn(*_: object) -> dict[str, bytes]:
    return {}
