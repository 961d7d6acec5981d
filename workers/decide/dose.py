"""How much was practised: repetitions planned, filmed and judged good, week by week."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from models.contract.analysis import Repetition
from models.contract.metrics.catalogue import CATALOGUE
from models.contract.plan import Criterion, Drill, Finding, PracticeRules
from models.contract.progress import PracticeWeek, SessionKind
from models.contract.vocabulary import RepetitionKind
from workers.decide.chances import margin
from workers.decide.followed import criteria_of
from workers.decide.groups import at_any_event
from workers.decide.plan import judged_by
from workers.decide.sessions import SessionAnalyses


@dataclass(frozen=True, slots=True)
class _Asked:
    """A drill of the focus and what it asks for."""

    drill: Drill
    criteria: tuple[Criterion, ...]

    @property
    def planned(self) -> int:
        dose = self.drill.dose
        return dose.sets * dose.repetitions * dose.days_per_week


def weeks_of(
    sessions: Sequence[SessionAnalyses], focus: Sequence[str], rules: PracticeRules | None
) -> tuple[PracticeWeek, ...]:
    """Return the repetitions of practice films by week (from Monday) and kind.

    Planned, and judged by its criteria, is the drill of that kind that the rules have for the
    finding on the focus; where they have none, repetitions are counted only. Films show a part of
    what was practised.
    """
    asked = _asked(focus, rules)
    found: dict[tuple[date, RepetitionKind], list[Repetition]] = {}
    for session in sessions:
        if session.kind != SessionKind.ACQUISITION:
            continue
        day = session.at.date()
        monday = day - timedelta(days=day.weekday())
        for analysis in session.analyses:
            for repetition in analysis.repetitions:
                found.setdefault((monday, repetition.kind), []).append(repetition)
    return tuple(
        _week(monday, kind, repetitions, asked.get(kind))
        for (monday, kind), repetitions in sorted(found.items(), key=lambda item: item[0])
    )


def total_of(weeks: Sequence[PracticeWeek]) -> tuple[PracticeWeek, ...]:
    """Return the sums over all weeks, one a kind."""
    kinds = dict.fromkeys(week.kind for week in weeks)
    return tuple(_sum(kind, [week for week in weeks if week.kind == kind]) for kind in kinds)


def _sum(kind: RepetitionKind, weeks: Sequence[PracticeWeek]) -> PracticeWeek:
    def total(values: Sequence[int | None]) -> int | None:
        known = [value for value in values if value is not None]
        return sum(known) if known else None

    return PracticeWeek(
        week=None,
        kind=kind,
        planned=total([week.planned for week in weeks]),
        filmed=sum(week.filmed for week in weeks),
        judged=total([week.judged for week in weeks]),
        good=total([week.good for week in weeks]),
    )


def _asked(focus: Sequence[str], rules: PracticeRules | None) -> dict[RepetitionKind, _Asked]:
    finding = None if rules is None else _finding(focus, rules)
    if rules is None or finding is None:
        return {}
    drills = {drill.id: drill for drill in rules.drills}
    return {
        drills[name].stage: _Asked(drills[name], criteria_of(rules, finding, drills[name]))
        for name in finding.drills
    }


def _finding(focus: Sequence[str], rules: PracticeRules) -> Finding | None:
    """Return the first finding of the rules on a movement that was worked on."""
    moved = {CATALOGUE.movement(name.partition("@")[0]) for name in focus}
    return next((f for f in rules.findings if CATALOGUE.movement(f.metric) in moved), None)


def _week(
    monday: date, kind: RepetitionKind, repetitions: Sequence[Repetition], asked: _Asked | None
) -> PracticeWeek:
    if asked is None:
        return PracticeWeek(week=monday, kind=kind, filmed=len(repetitions))
    keys = {id(c): judged_by(c, repetitions) for c in asked.criteria}
    judged = good = 0
    for repetition in repetitions:
        margins = []
        for criterion in asked.criteria:
            found = at_any_event([repetition], keys[id(criterion)], criterion.event)
            metric = next((m for m in found if m.unit == criterion.unit), None)
            margins.append(
                None if metric is None else margin(metric, criterion.is_, criterion.value)
            )
        known = [one for one in margins if one is not None]
        judged += len(known) == len(margins)
        good += len(known) == len(margins) and all(one.past >= 0 for one in known)
    return PracticeWeek(
        week=monday,
        kind=kind,
        planned=asked.planned,
        filmed=len(repetitions),
        judged=judged,
        good=good,
    )
