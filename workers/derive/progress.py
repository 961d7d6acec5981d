"""The files of a player's progress: document and report."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from datetime import datetime

from models.contract.plan import PracticeRules
from models.contract.progress import Progress
from models.contract.vocabulary import Language, RepetitionKind
from models.practice.rules import shipped_rules
from models.words import catalogue
from workers.decide.progress import progress as work_out
from workers.decide.sessions import SessionAnalyses
from workers.derive.source import SessionSources, with_minor_cautions
from workers.pipeline.result_files import ResultFile, json_file, page_file
from workers.report.from_coach import NOTHING, FromCoach
from workers.report.progress_page import progress_page


def progress_files(
    player: str,
    sessions: Sequence[SessionSources],
    *,
    now: datetime,
    kind: RepetitionKind = RepetitionKind.SERVE,
    focus: Sequence[str] = (),
    rules: PracticeRules | None = None,
    minor: bool = False,
    coach: FromCoach = NOTHING,
    language: Language = Language.ENGLISH,
) -> tuple[Progress, tuple[ResultFile, ...]]:
    """Return the progress of a player over sessions, and its files.

    Parameters
    ----------
    focus : sequence of str
        What was worked on: metric keys, or ``key@event``.
    rules : PracticeRules or None
        Whose goals and doses count; None = the shipped ones.
    """
    found = work_out(
        player,
        [
            SessionAnalyses(
                s.name,
                s.kind,
                s.at,
                tuple(x.analysis for x in s.sources),
                s.drill,
                tuple(x.name for x in s.sources),
            )
            for s in sessions
        ],
        now=now,
        kind=kind,
        focus=focus,
        rules=rules or shipped_rules(),
    )
    found = found.model_copy(update={"cautions": with_minor_cautions(found.cautions, minor)})
    page = progress_page(found, coach=coach, words=catalogue(language.value))
    return found, (json_file("result", found), page_file(page))


def headline(progress: Progress) -> dict[str, object]:
    """Return the few values that an event body carries."""
    check = progress.next_check
    return {
        "answer": None if progress.answer is None else progress.answer.code,
        "relapse": progress.relapse is not None,
        "verdicts": dict(Counter(metric.verdict.value for metric in progress.metrics)),
        "next_check": None
        if check is None
        else {
            "not_before": check.not_before.isoformat(),
            "not_after": check.not_after.isoformat(),
        },
    }
