"""Progress over cycles: a relapse with its dates, the answer in one sentence, the dose by week."""

from __future__ import annotations

from datetime import date, datetime, timedelta

import pytest

from models.contract.progress import SessionKind
from models.contract.vocabulary import RepetitionKind
from models.practice.rules import shipped_rules
from tests.unit.decide.builders import analysis, metric, repetition
from tests.unit.decide.test_progress import T0, _session
from workers.decide.dose import total_of, weeks_of
from workers.decide.progress import progress
from workers.decide.sessions import SessionAnalyses
from workers.report.progress_page import progress_page

DAY = timedelta(days=1)
BEFORE = [
    _session(SessionKind.BASELINE, 40, 0 * DAY, seed=1),
    _session(SessionKind.ACQUISITION, 52, DAY, seed=2),
]
LOST = _session(SessionKind.RETENTION, 40, 8 * DAY, seed=3)
AGAIN = _session(SessionKind.ACQUISITION, 52, 20 * DAY, seed=4)
KEPT = _session(SessionKind.RETENTION, 52, 27 * DAY, seed=5)
RULES = shipped_rules()
FOCUS = ["rear_foot_load_share"]


def _at(days: float) -> datetime:
    return T0 + timedelta(days=days)


def test_a_relapse_starts_the_next_cycle_on_dates_that_stay() -> None:
    found = [progress("p", [*BEFORE, LOST], now=_at(day)) for day in (8, 10, 14)]
    first = found[0].relapse
    assert first is not None
    assert (first.cycle, first.starts_at, first.found_at) == (2, _at(8), _at(8))
    assert first.practise_until == _at(22)
    assert first.check.not_before > first.practise_until
    assert [one.relapse for one in found] == [first] * 3
    assert {one.answer.code for one in found} == {"answer_relapse"}
    page = progress_page(found[0])
    assert "Cycle 2 starts on" in page
    assert page.index("This is a relapse") < page.index("Practise until")
    late = progress("p", [*BEFORE, LOST], now=_at(40)).relapse
    assert late is not None
    assert (late.starts_at, late.practise_until) == (_at(40), _at(54))


def test_the_cycle_after_a_relapse_says_so_and_can_hold() -> None:
    practised = progress("p", [*BEFORE, LOST, AGAIN], now=_at(21))
    assert (practised.cycle, practised.cycle_since) == (2, _at(20))
    assert practised.after_relapse
    assert practised.relapse is None
    assert practised.answer.code == "answer_not_tested"
    assert "after a relapse" in progress_page(practised)
    kept = progress("p", [*BEFORE, LOST, AGAIN, KEPT], now=_at(28))
    assert kept.answer.code == "answer_holds_no_match"
    assert (kept.cycle, kept.after_relapse) == (2, True)
    held = _session(SessionKind.RETENTION, 52, 8 * DAY, seed=3)
    plain = progress("p", [*BEFORE, held, AGAIN], now=_at(21))
    assert (plain.cycle, plain.after_relapse) == (2, False)
    assert not progress("p", BEFORE, now=_at(2)).after_relapse


@pytest.mark.parametrize(
    ("match", "after", "code"),
    [
        (52, 5 * DAY, "answer_shows_in_match"),
        (40, 5 * DAY, "answer_only_match_lost"),
        (52, timedelta(hours=5), "answer_not_tested"),  # the same day
    ],
)
def test_a_match_days_after_practice_answers_alone(
    match: float, after: timedelta, code: str
) -> None:
    played = _session(SessionKind.TRANSFER, match, DAY + after, seed=6)
    found = progress("p", [*BEFORE, played], now=_at(9))
    assert found.answer.code == code
    assert found.relapse is None


def _practice(day: float, share: float, count: int, drill: str | None = None) -> SessionAnalyses:
    held = [
        repetition(
            metric("rear_foot_load_share", share, 0.02, unit="1", event="loading"),
            metric("hold_duration", 4.0, 0.1, unit="s", event=None),
            kind=RepetitionKind.HOLD,
        )
        for _ in range(count)
    ]
    return SessionAnalyses("p", SessionKind.ACQUISITION, _at(day), (analysis(*held),), drill)


def test_a_week_without_films_counts_as_planned_and_not_filmed() -> None:
    # T0 is a Monday.
    good, weak, later = _practice(1, 0.70, 4), _practice(2, 0.40, 3), _practice(15, 0.70, 5)
    weeks = weeks_of([later, weak, good], FOCUS, RULES)
    hold = next(d for d in RULES.drills if d.id == "hold_loaded").dose
    planned = hold.sets * hold.repetitions * hold.days_per_week
    assert [(w.week, w.planned, w.filmed, w.judged, w.good) for w in weeks] == [
        (date(2026, 3, 2), planned, 7, 7, 4),
        (date(2026, 3, 9), planned, 0, 0, 0),
        (date(2026, 3, 16), planned, 5, 5, 5),
    ]
    (total,) = total_of(weeks)
    assert (total.planned, total.filmed, total.judged, total.good) == (3 * planned, 12, 12, 9)
    # Between two cycles nobody was to practise.
    test = _session(SessionKind.RETENTION, 40, 8 * DAY)
    assert [w.week.day for w in weeks_of([good, test, later], FOCUS, RULES)] == [2, 16]


def test_repetitions_are_judged_by_the_drill_of_their_session() -> None:
    loaded = next(d for d in RULES.drills if d.id == "hold_loaded")
    easier = tuple(
        c.model_copy(update={"value": 0.3}) if c.metric == FOCUS[0] else c
        for c in loaded.advance_when
    )
    other = loaded.model_copy(update={"id": "hold_easy", "advance_when": easier})
    findings = tuple(
        f.model_copy(update={"drills": ("hold_easy", *f.drills)})
        if f.id == "weight_not_on_rear_foot"
        else f
        for f in RULES.findings
    )
    rules = RULES.model_copy(update={"drills": (*RULES.drills, other), "findings": findings})

    def judged(*drills: str | None) -> tuple[int | None, int | None]:
        sessions = [_practice(1 + n / 9, 0.40, 3, drill) for n, drill in enumerate(drills)]
        (week,) = weeks_of(sessions, FOCUS, rules)
        return week.judged, week.good

    assert judged("hold_easy") == (3, 3)
    assert judged("hold_loaded") == (3, 0)
    # Not known which: counted, and not judged by a guess.
    assert judged(None) == judged("hold_easy", "hold_loaded") == (None, None)
