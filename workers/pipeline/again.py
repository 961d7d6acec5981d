"""The analysis of a clip once more, from its stored joints: for when only the engine changed.

The film is not read. What was learnt from it (facts, checks of the picture, problems of the file,
the networks) is taken over from the earlier analysis; pictures and annotated film, which show its
frames, are made only by a caller who has the film.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from models.contract.analysis import Analysis
from models.contract.faces import Faces
from models.contract.note import Note
from models.contract.plan import PracticeRules
from models.contract.tracks import JointTrack
from models.contract.vocabulary import Stage
from workers.engine.interface import EngineRequest, EngineResult
from workers.learned import LoadedEngine
from workers.pipeline.progress import PipelineProgress, Report, silent
from workers.pipeline.run import (
    PipelineResult,
    StageTimer,
    merge,
    nobody,
    person_seen,
    with_cautions,
    with_rules,
)
from workers.video.usability import CHECKS


def run_again(
    earlier: Analysis,
    track: JointTrack,
    request: EngineRequest,
    engine: LoadedEngine,
    *,
    draw: Callable[[Analysis, EngineResult], tuple[Mapping[str, bytes], bytes | None]]
    | None = None,
    faces: Faces | None = None,
    rules: PracticeRules | None = None,
    report: Report = silent,
    extra_cautions: tuple[Note, ...] = (),
    second_track: JointTrack | None = None,
) -> PipelineResult:
    """Measure a stored track again.

    Parameters
    ----------
    earlier : Analysis
        What the film gave before.
    track : JointTrack
        The joints of that analysis.
    request : EngineRequest
        What the caller knows.
    engine : LoadedEngine
        The metrics engine with what it has learned; the result names it, and the networks that
        the joints came from.
    draw : callable, optional
        (analysis, engine result) to pictures by file name and annotated film, from the film.
    faces : Faces, optional
        Whether what is drawn shows faces; as in the earlier analysis without.
    rules : PracticeRules, optional
        Whose limits are shown; as in the earlier analysis without.
    report : callable
        Called with the stage and the share done; what it raises ends the analysis.
    extra_cautions : tuple of Note
        Added to those that every analysis carries.
    second_track : JointTrack, optional
        The joints of the second film of the serve, where there were two.

    Raises
    ------
    FilmsNoPair
        As in an analysis of two films.
    """
    timer = StageTimer(PipelineProgress(report))
    with timer.stage(Stage.SERVE):
        if second_track is not None:
            found = engine.analyse_pair(track, second_track, request)
        else:
            found = engine.analyse(track, request) if person_seen(track) else nobody(request)
    learned = {model.name for model in engine.models}
    networks = [model for model in earlier.models if model.name not in learned]
    analysis = merge(
        earlier.clip,
        [one for one in earlier.problems if one.stage == Stage.DECODE.value],
        [check for check in earlier.usability.checks if check.key in CHECKS],
        found,
        request,
        (*networks, *engine.models),
        engine.identity,
    )
    analysis = with_cautions(analysis, extra_cautions)
    kept = {name: getattr(earlier, name) for name in ("rules", "thresholds")}
    analysis = analysis.model_copy(update={"faces": faces or earlier.faces, **kept})
    analysis = with_rules(analysis, rules)
    if analysis.second_view is not None and earlier.second_view is not None:
        told = analysis.second_view.model_copy(update={"clip": earlier.second_view.clip})
        analysis = analysis.model_copy(update={"second_view": told})
    pictures: Mapping[str, bytes] = {}
    film: bytes | None = None
    with timer.stage(Stage.PICTURES):
        if draw is not None and analysis.repetitions:
            pictures, film = draw(analysis, found)
    return PipelineResult(
        analysis,
        track,
        found.bodies,
        pictures,
        timer.seconds,
        film,
        second_track=second_track,
    )
