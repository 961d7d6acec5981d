"""Sessions of one player: gain, retention, transfer, and when to film next.

Performance on the day of practice mixes temporary effects; only a delayed test, at least 24 h
after the last practice and before any coaching, speaks for learning (summary of motor-learning
research: Psychol Res 2012; delays of 24 h, 1 week and 4 weeks are the usual ones).
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime

from models.contract.analysis import Analysis, Metric
from models.contract.comparison import MetricDifference, Verdict
from models.contract.interval import Z95
from models.contract.metrics.catalogue import CATALOGUE
from models.contract.metrics.definition import metric_name
from models.contract.note import Note, note
from models.contract.note_codes import NoteCode
from models.contract.plan import PracticeRules
from models.contract.progress import (
    MetricProgress,
    Progress,
    RetentionScore,
    SessionFromPlaces,
    SessionKind,
    SessionPoint,
)
from models.contract.retention import next_check
from models.contract.vocabulary import RepetitionKind
from workers.decide import statistics as st
from workers.decide.dose import total_of, weeks_of
from workers.decide.groups import Slot, interval, mean_of
from workers.decide.makers import made_alike, maker_notes
from workers.decide.place import one_place, read_alike
from workers.decide.placed import placed, side_difference, side_mean
from workers.decide.retained import (
    agreeing,
    answer,
    practise_again,
    relapse_of,
    scored,
    verdict,
)
from workers.decide.scatter import Prior
from workers.decide.session_values import session_values
from workers.decide.sessions import SessionAnalyses, cycle_of
from workers.decide.verdicts import Row, goals_of, judged

Measured = tuple[SessionAnalyses, st.GroupMean]
"""A session and the mean of one metric in it."""


def progress(
    player: str,
    sessions: Sequence[SessionAnalyses],
    *,
    now: datetime,
    kind: RepetitionKind = RepetitionKind.SERVE,
    focus: Sequence[str] = (),
    rules: PracticeRules | None = None,
) -> Progress:
    """Return the progress of one player over sessions, in order of time.

    Parameters
    ----------
    focus : sequence of str
        What was worked on, as in a comparison: half of the risk of a false alarm goes to it, and
        the answer and a relapse are about it.
    rules : PracticeRules or None
        Whose goals say which way a gain went, and whose doses were planned.
    """
    ordered = _by_place(_read_alike(sorted(sessions, key=lambda s: s.at), kind), kind)
    slots: dict[Slot, str] = {}
    for session in ordered:
        for metric in _metrics(session, kind):
            # A share of few repetitions has no series worth a plot.
            if not CATALOGUE.yes_no(metric.key):
                slots.setdefault((metric.key, metric.event), metric.title)
    prior = _consistency(slots, ordered, kind)
    gains = _gains(slots, ordered, kind, prior, focus, {} if rules is None else goals_of(rules))
    rows = [_row(slot, title, ordered, kind, prior, gains) for slot, title in slots.items()]
    metrics = agreeing([row for row in rows if row is not None])
    cycle, since = cycle_of(ordered)
    relapse = relapse_of(metrics, [(s.at, s.kind) for s in ordered], now, cycle)
    weeks = weeks_of(ordered, focus, rules)
    check = next_check(
        [s.at for s in ordered if s.kind == SessionKind.ACQUISITION],
        [s.at for s in ordered if s.kind == SessionKind.RETENTION],
        now,
    )
    return Progress(
        player=player,
        focus=tuple(focus),
        answer=answer(metrics, relapse),
        cycle=cycle,
        cycle_since=since,
        after_relapse=_after_relapse(player, ordered, since, kind, focus, rules),
        relapse=relapse,
        weeks=weeks,
        total=total_of(weeks),
        metrics=tuple(metrics),
        sessions=tuple(
            SessionFromPlaces(
                session=s.name, kind=s.kind, at=s.at, values=session_values(s.named, kind)
            )
            for s in ordered
            if len(s.places) > 1
        ),
        repetitions_practised=_practised(ordered),
        next_check=check if relapse is None else practise_again(relapse, now),
        notes=_notes(ordered, kind),
    )


def _after_relapse(
    player: str,
    ordered: Sequence[SessionAnalyses],
    since: datetime | None,
    kind: RepetitionKind,
    focus: Sequence[str],
    rules: PracticeRules | None,
) -> bool:
    """Return whether what was filmed before this cycle shows a relapse."""
    before = [] if since is None else [s for s in ordered if s.at < since]
    if not any(s.kind == SessionKind.RETENTION for s in before):
        return False
    then = progress(player, before, now=before[-1].at, kind=kind, focus=focus, rules=rules)
    return then.relapse is not None


def _metrics(session: SessionAnalyses, kind: RepetitionKind) -> list[Metric]:
    return [m for a in session.analyses for r in a.repetitions if r.kind == kind for m in r.metrics]


def _group(session: SessionAnalyses, slot: Slot, kind: RepetitionKind) -> st.GroupMean | None:
    if len(session.places) > 1:
        return side_mean(session.places, slot)
    return mean_of([m for m in _metrics(session, kind) if (m.key, m.event) == slot])


def _measured(
    sessions: Sequence[SessionAnalyses], slot: Slot, kind: RepetitionKind
) -> list[Measured]:
    return [(s, g) for s in sessions if (g := _group(s, slot, kind)) is not None]


def _consistency(
    slots: Iterable[Slot], sessions: Sequence[SessionAnalyses], kind: RepetitionKind
) -> Prior | None:
    """Return what all metrics say of the scatter between serves, before and after practice."""
    pairs = []
    for slot in slots:
        measured = _measured(sessions, slot, kind)
        before = _last(measured, SessionKind.BASELINE)
        after = _last(measured, SessionKind.ACQUISITION)
        if before is not None and after is not None:
            pairs.append((before[1], after[1]))
    return st.consistency(pairs)


def _gains(
    slots: Mapping[Slot, str],
    sessions: Sequence[SessionAnalyses],
    kind: RepetitionKind,
    prior: Prior | None,
    focus: Sequence[str],
    goals: Mapping[str, int],
) -> dict[Slot, MetricDifference]:
    """Return the gain of every metric with a baseline and practice, judged as a comparison is."""
    found: list[Row] = []
    for slot, title in slots.items():
        measured = _measured(sessions, slot, kind)
        before = _last(measured, SessionKind.BASELINE)
        after = _last(measured, SessionKind.ACQUISITION)
        if before is None or after is None:
            continue
        place = _errors_shared(kind, before[0], after[0])
        d = st.difference(before[1], after[1], one_place=place, prior=prior)
        sides = [before[0].places, after[0].places]
        if any(len(side) > 1 for side in sides):
            alike = made_alike(_films(kind, before[0], after[0]))
            d = side_difference(sides[0], sides[1], slot, alike=alike, prior=prior) or d
        row = MetricDifference(
            key=slot[0],
            title=title,
            event=slot[1],
            unit="",
            first=None,
            second=None,
            difference=d.value,
            low=d.low,
            high=d.high,
            typical_error=d.typical_error,
            mdc95=d.mdc95,
            p_value=min(1.0, d.p_value),
            focus=slot[0] in focus or metric_name(*slot) in focus,
            verdict=Verdict.NO_CHANGE_SEEN,
        )
        found.append((row, d))
    return {(row.key, row.event): row for row in judged(found, goals)}


def _row(
    slot: Slot,
    title: str,
    sessions: Sequence[SessionAnalyses],
    kind: RepetitionKind,
    prior: Prior | None,
    gains: Mapping[Slot, MetricDifference],
) -> MetricProgress | None:
    measured = _measured(sessions, slot, kind)
    if not measured:
        return None
    unit = next(m.unit for s in sessions for m in _metrics(s, kind) if (m.key, m.event) == slot)
    baseline = _last(measured, SessionKind.BASELINE)
    after = _last(measured, SessionKind.ACQUISITION)
    gain = gains.get(slot)
    retention, transfer = (
        _delayed(measured, delayed, baseline, after, sessions, kind, prior)
        if scored(gain)
        else None
        for delayed in (SessionKind.RETENTION, SessionKind.TRANSFER)
    )
    found, why = verdict(gain, retention)
    return MetricProgress(
        key=slot[0],
        title=title,
        event=slot[1],
        unit=unit,
        series=tuple(_point(s, g) for s, g in measured),
        gain=None if gain is None else gain.difference,
        gain_mdc95=None if gain is None else gain.mdc95,
        gain_threshold=None if gain is None else gain.threshold,
        gain_detectable=None if gain is None else gain.detectable,
        gain_verdict=None if gain is None else gain.verdict,
        direction=None if gain is None else gain.direction,
        focus=gain is not None and gain.focus,
        retention=retention,
        transfer=transfer,
        verdict=found,
        reason=why,
    )


def _point(session: SessionAnalyses, group: st.GroupMean) -> SessionPoint:
    low, high = interval(group)
    return SessionPoint(
        session=session.name,
        kind=session.kind,
        at=session.at,
        value=group.mean,
        low=low,
        high=high,
        repetitions=group.n,
    )


def _last(measured: Sequence[Measured], kind: SessionKind) -> Measured | None:
    found = [m for m in measured if m[0].kind == kind]
    return found[-1] if found else None


def _read_alike(sessions: Sequence[SessionAnalyses], kind: RepetitionKind) -> list[SessionAnalyses]:
    """Return the sessions with their films of a kind read as from one view, if of one place and
    made alike.
    """
    held = _films(kind, *sessions)
    films = iter(read_alike(held) if made_alike(held) else held)
    return [
        replace(s, analyses=tuple(next(films) if _holds(a, kind) else a for a in s.analyses))
        for s in sessions
    ]


def _by_place(sessions: Sequence[SessionAnalyses], kind: RepetitionKind) -> list[SessionAnalyses]:
    """Return the sessions with their films of a kind by camera place."""
    films = [[a for a in s.analyses if _holds(a, kind)] for s in sessions]
    sides = placed(films, kind, alike=made_alike(_films(kind, *sessions)))
    return [replace(s, places=tuple(side)) for s, side in zip(sessions, sides, strict=True)]


def _holds(analysis: Analysis, kind: RepetitionKind) -> bool:
    return any(r.kind == kind for r in analysis.repetitions)


def _films(kind: RepetitionKind, *sessions: SessionAnalyses) -> list[Analysis]:
    return [a for s in sessions for a in s.analyses if _holds(a, kind)]


def _errors_shared(kind: RepetitionKind, *sessions: SessionAnalyses) -> bool:
    """Return whether the repetitions of a kind were filmed from one place in all sessions, and
    made alike: then what the films err alike drops out.
    """
    films = _films(kind, *sessions)
    return one_place(films) and made_alike(films)


def _delayed(
    measured: Sequence[Measured],
    session_kind: SessionKind,
    baseline: Measured | None,
    after: Measured | None,
    sessions: Sequence[SessionAnalyses],
    kind: RepetitionKind,
    prior: Prior | None,
) -> RetentionScore | None:
    """Return the score of the last delayed test, if it follows the practice it tests."""
    test = _last(measured, session_kind)
    if test is None or baseline is None or after is None or test[0].at <= after[0].at:
        return None
    if after[1].mean == baseline[1].mean:
        return None
    practice = [s.at for s in sessions if s.kind == SessionKind.ACQUISITION and s.at < test[0].at]
    place = _errors_shared(kind, baseline[0], after[0], test[0])
    errors = [
        st.standard_error(m[1], one_place=place, prior=prior) for m in (baseline, after, test)
    ]
    score, se = st.retention_score(
        baseline[1].mean,
        after[1].mean,
        test[1].mean,
        math.sqrt(sum(e * e for e in errors) / len(errors)),
    )
    return RetentionScore(
        value=score,
        low=score - Z95 * se,
        high=score + Z95 * se,
        delay_hours=(test[0].at - max(practice)).total_seconds() / 3600,
    )


def _practised(sessions: Sequence[SessionAnalyses]) -> dict[RepetitionKind, int]:
    counts: Counter[RepetitionKind] = Counter()
    for session in sessions:
        if session.kind == SessionKind.ACQUISITION:
            counts.update(r.kind for a in session.analyses for r in a.repetitions)
    return dict(counts)


def _notes(sessions: Sequence[SessionAnalyses], kind: RepetitionKind) -> tuple[Note, ...]:
    notes = []
    films = _films(kind, *sessions)
    several = any(len(s.places) > 1 for s in sessions)
    stayed = len({tuple(p.place for p in s.places) for s in sessions if s.places}) == 1
    if len(sessions) > 1 and not one_place(films) and not (several and stayed):
        notes.append(note(NoteCode.CAMERA_MOVED))
    if several:
        notes.append(note(NoteCode.PLACES_TOGETHER))
    notes.extend(maker_notes(films))
    if not any(s.kind == SessionKind.BASELINE for s in sessions):
        notes.append(note(NoteCode.NO_BASELINE_SESSION))
    if not any(s.kind == SessionKind.TRANSFER for s in sessions):
        notes.append(note(NoteCode.NO_TRANSFER_SESSION))
    return tuple(notes)
