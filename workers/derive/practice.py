"""The files of a practice plan, and of the judgement of a drill's clips."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from models.contract.plan import DrillOutcome, PracticePlan, PracticeRules
from models.contract.thresholds import Threshold
from models.contract.vocabulary import EventName, Language, RepetitionKind
from models.words import Words, catalogue
from workers.decide.drill import judge_drill
from workers.decide.plan import make_plan
from workers.derive.source import Source, best_repetition, with_minor_cautions
from workers.pipeline.faces import face_cover
from workers.pipeline.result_files import ResultFile, beside, json_file, page_file
from workers.pipeline.stages import draw_pictures
from workers.report.analysis_page import analysis_page
from workers.report.from_coach import NOTHING, FromCoach
from workers.report.goals import share_goal, thresholds_or_shipped
from workers.video.limits import DecodeLimits


def plan_files(
    rules: PracticeRules,
    sources: Sequence[Source],
    limits: DecodeLimits,
    *,
    done: Sequence[str] = (),
    player: str | None = None,
    minor: bool = False,
    also_hidden: bool = False,
    coach: FromCoach = NOTHING,
    language: Language = Language.ENGLISH,
) -> tuple[PracticePlan, tuple[ResultFile, ...]]:
    """Return the plan for these serves, and its files.

    The report is that of the analysis with the surest serve, with the plan in it. Where the rules
    want the weight elsewhere than the shipped ones, its pictures are drawn anew; ``limits`` are for
    reading the film again. ``also_hidden``: it is there a second time, with hidden faces.
    """
    plan = make_plan(rules, [source.analysis for source in sources], done=done)
    plan = plan.model_copy(update={"cautions": with_minor_cautions(plan.cautions, minor)})
    found = best_repetition(sources, RepetitionKind.SERVE)
    shown = found[0] if found is not None else sources[0]
    words = catalogue(language.value)

    def page(hide: bool) -> ResultFile:
        pictures = _pictures(shown, plan.thresholds, limits, words, hide)
        return page_file(
            analysis_page(
                shown.analysis, pictures, plan=plan, player=player, coach=coach, words=words
            )
        )

    files = [json_file("result", plan), page(shown.faces_hidden)]
    if also_hidden:
        files.append(beside(page(hide=True)))
    return plan, tuple(files)


def _pictures(
    source: Source, thresholds: Sequence[Threshold], limits: DecodeLimits, words: Words, hide: bool
) -> Mapping[str, bytes]:
    """Return pictures with the goal of these thresholds and the coach's own lines; none where the
    film is gone and the stored ones show another goal or may lack the lines, nor of an older
    analysis, which has none with hidden faces.
    """
    own = thresholds_or_shipped(source.analysis.thresholds)
    wanted, stored = (share_goal(one, (EventName.LOADING,)) for one in (thresholds, own))
    if wanted == stored and source.own is None:
        return source.hidden_pictures() if hide and not source.faces_hidden else source.pictures()
    film = source.film()
    if film is None:
        return {}
    track, bodies = source.joints()
    analysis = source.analysis
    cover = face_cover(track) if hide else None
    return draw_pictures(
        film,
        analysis,
        track,
        bodies,
        limits,
        words,
        thresholds=thresholds,
        own=source.own,
        cover=cover,
    )


def plan_headline(plan: PracticePlan) -> dict[str, object]:
    """Return the few values that an event body and a drill check need."""
    return {
        "focus": plan.focus.finding.id if plan.focus else None,
        "next": next((step.drill.id for step in plan.steps if step.state == "next"), None),
        "steps": [{"drill": step.drill.id, "state": step.state} for step in plan.steps],
    }


def drill_files(
    rules: PracticeRules,
    finding: str,
    drill: str,
    sources: Sequence[Source],
    *,
    minor: bool = False,
) -> tuple[DrillOutcome, tuple[ResultFile, ...]]:
    """Return what the clips of a drill say, and its file.

    Raises
    ------
    KeyError
        The rules have no such finding or drill.
    """
    outcome = judge_drill(rules, finding, drill, [source.analysis for source in sources])
    outcome = outcome.model_copy(update={"cautions": with_minor_cautions(outcome.cautions, minor)})
    return outcome, (json_file("result", outcome),)


def drill_headline(outcome: DrillOutcome) -> dict[str, object]:
    """Return the few values that an event body carries."""
    return {
        "drill": outcome.drill,
        "decision": outcome.decision.value,
        "next_drill": outcome.next_drill,
    }
