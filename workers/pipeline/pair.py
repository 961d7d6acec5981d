"""Two films of one serve through the pipeline: the second gives its joints to the first."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from models.contract.errors import FilmsNoPair
from models.contract.note_codes import NoteCode, say
from models.contract.tracks import JointTrack
from models.contract.vocabulary import View
from workers.engine.interface import EngineRequest, EngineResult
from workers.pipeline.run import PipelineResult, StageFunctions

Run = Callable[[Path, EngineRequest, StageFunctions], PipelineResult]
"""`workers.pipeline.run.run` with everything else that an analysis is told."""


def run_pair(
    first: tuple[Path, Run],
    second: tuple[Path, Run],
    request: EngineRequest,
    stages: StageFunctions,
) -> PipelineResult:
    """Analyse a serve from two films of it.

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
    beside = run_other(other, apart, replace(stages, draw=_not_drawn, film=None, draw_hidden=None))

    def measure(track: JointTrack, asked: EngineRequest) -> EngineResult:
        return measure_pair(track, beside.track, asked)

    path, run_first = first
    result = run_first(path, request, replace(stages, measure=measure))
    seen = result.analysis.second_view
    if seen is None:
        raise FilmsNoPair(say(NoteCode.VIEWS_WITHOUT_SERVE))
    told = seen.model_copy(update={"clip": beside.analysis.clip})
    return replace(result, analysis=result.analysis.model_copy(update={"second_view": told}))


def _not_drawn(*_: object) -> dict[str, bytes]:
    return {}
