"""How much was practised: repetitions planned, filmed and judged good, week by week."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from itertools import pairwise

from models.contract.analysis import Repetition
from models.contract.metrics.catalogue import CATALOGUE
from models.contract.plan import Criterion, Drill, Finding, PracticeRules
from models.contract.progress import PracticeWeek, SessionKind
from models.contract.vocabulary import RepetitionKind
from workers.decide.chances import margin
from workers.decide.followed import criteria_of
from workers.decide.groups import at_any_event
from workers.decide.plan import judged_by
from workers.decide.sessions import DELAYED, SessionAnalyses


@dataclass(frozen=True, slots=True)
class _Asked:
    """A drill of the focus and what it asks for."""

    drill: Drill
    criteria: tuple[Criterion, ...]

    @property
    def planned(self) -> int:
        dose = self.drill.dose
        return dose.sets * dose.repetitions * dose.days_per_week


@dataclass(slots=True)
class _Filmed:
    """What was filmed of one kind in one week, and of which drills it is said to be."""

    repetitions: list[Repetition] = field(default_factory=list)
    drills: set[str | None] = field(default_factory=set)


def weeks_of(
    sessions: Sequence[SessionAnalyses], focus: Sequence[str], rules: PracticeRules | None
) -> tuple[PracticeWeek, ...]:
    """Return the repetitions of practice films by week (from Monday) and kind.

    Planned, and judged by its criteria, is the drill that was filmed, of those that the rules have
    for the finding on the focus; where they have none, or it is not known which, repetitions are
    counted only. A week without a film between two weeks of practice of one cycle counts as planned
    and not filmed. Films show a part of what was practised.
    """
    asked = _asked(focus, rules)
    found: dict[tuple[date, RepetitionKind], _Filmed] = {}
    cycles: list[list[date]] = []
    tested = True
    for session in sorted(sessions, key=lambda one: one.at):
        if session.kind != SessionKind.ACQUISITION:
            tested = tested or session.kind in DELAYED
            continue
        if tested:
            cycles.append([])
            tested = False
        day = session.at.date()
        monday = day - timedelta(days=day.weekday())
        cycles[-1].append(monday)
        for analysis in session.analyses:
            for repetition in analysis.repetitions:
                one = found.setdefault((monday, repetition.kind), _Filmed())
                one.repetitions.append(repetition)
                one.drills.add(session.drill)
    weeks = {
        (monday, kind): _week(monday, kind, one.repetitions, _drill(asked, kind, one.drills))
        for (monday, kind), one in found.items()
    }
    for missed, before in _missed(cycles):
        for (monday, kind), week in list(weeks.items()):
            if monday == before and week.planned is not None:
                weeks[missed, kind] = PracticeWeek(
                    week=missed, kind=kind, planned=week.planned, filmed=0, judged=0, good=0
                )
    return tuple(week for _, week in sorted(weeks.items(), key=lambda item: item[0]))


def _missed(cycles: Sequence[Sequence[date]]) -> Iterator[tuple[date, date]]:
    """Yield the weeks without practice within a cycle, each with the last week that had some."""
    week = timedelta(days=7)
    for mondays in cycles:
        for before, after in pairwise(sorted(set(mondays))):
            missed = before + week
            while missed < after:
                yield missed, before
                missed += week


def _drill(
    asked: Sequence[_Asked], kind: RepetitionKind, drills: Collection[str | None]
) -> _Asked | None:
    """Return the drill that repetitions are of; None where there is none, or it is not known."""
    of_kind = [one for one in asked if one.drill.stage == kind]
    named = [one for one in of_kind if one.drill.id in drills]
    if len(named) == 1 and len(drills) == 1:
        return named[0]
    return of_kind[0] if len(of_kind) == 1 else None


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


def _asked(focus: Sequence[str], rules: PracticeRules | None) -> list[_Asked]:
    finding = None if rules is None else _finding(focus, rules)
    if rules is None or finding is None:
        return []
    drills = {drill.id: drill for drill in rules.drills}
    return [
        _Asked(drills[name], criteria_of(rules, finding, drills[name])) for name in finding.drills
    ]


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
