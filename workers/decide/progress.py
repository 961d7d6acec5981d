"""Sessions of one player: gain, retention, transfer, and when to film next.

Performance on the day of practice mixes temporary effects; only a delayed test, at least 24 h
after the last practice and before any coaching, speaks for learning (summary of motor-learning
research: Psychol Res 2012; delays of 24 h, 1 week and 4 weeks are the usual ones).
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from models.contract.analysis import Analysis, Metric
from models.contract.interval import Z95
from models.contract.metrics.catalogue import CATALOGUE
from models.contract.note import Note, note
from models.contract.note_codes import NoteCode
from models.contract.progress import (
    MetricProgress,
    Progress,
    RetentionScore,
    RetentionVerdict,
    SessionKind,
    SessionPoint,
)
from models.contract.retention import MIN_DELAY, next_check
from models.contract.vocabulary import RepetitionKind
from workers.decide import statistics as st
from workers.decide.groups import Slot, interval, mean_of
from workers.decide.makers import made_alike, maker_notes
from workers.decide.place import one_place, read_alike
from workers.decide.scatter import Prior

_KEPT, _GONE = 0.8, 0.2
"""Shares of a gain: from the first on it is held, below the second it is lost (working values)."""


@dataclass(frozen=True, slots=True)
class SessionAnalyses:
    """One filmed session. ``analyses`` may hold serves and drill repetitions."""

    name: str
    kind: SessionKind
    at: datetime
    analyses: tuple[Analysis, ...]


Measured = tuple[SessionAnalyses, st.GroupMean]
"""A session and the mean of one metric in it."""


def progress(
    player: str,
    sessions: Sequence[SessionAnalyses],
    *,
    now: datetime,
    kind: RepetitionKind = RepetitionKind.SERVE,
) -> Progress:
    """Return the progress of one player over sessions, in order of time."""
    ordered = _read_alike(sorted(sessions, key=lambda s: s.at), kind)
    slots: dict[Slot, str] = {}
    for session in ordered:
        for metric in _metrics(session, kind):
            # A share of few repetitions has no series worth a plot.
            if not CATALOGUE.yes_no(metric.key):
                slots.setdefault((metric.key, metric.event), metric.title)
    prior = _consistency(slots, ordered, kind)
    rows = [_row(slot, title, ordered, kind, prior) for slot, title in slots.items()]
    return Progress(
        player=player,
        metrics=tuple(row for row in rows if row is not None),
        repetitions_practised=_practised(ordered),
        next_check=next_check(
            [s.at for s in ordered if s.kind == SessionKind.ACQUISITION],
            [s.at for s in ordered if s.kind == SessionKind.RETENTION],
            now,
        ),
        notes=_notes(ordered, kind),
    )


def _metrics(session: SessionAnalyses, kind: RepetitionKind) -> list[Metric]:
    return [m for a in session.analyses for r in a.repetitions if r.kind == kind for m in r.metrics]


def _group(session: SessionAnalyses, slot: Slot, kind: RepetitionKind) -> st.GroupMean | None:
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


def _row(
    slot: Slot,
    title: str,
    sessions: Sequence[SessionAnalyses],
    kind: RepetitionKind,
    prior: Prior | None,
) -> MetricProgress | None:
    measured = _measured(sessions, slot, kind)
    if not measured:
        return None
    unit = next(m.unit for s in sessions for m in _metrics(s, kind) if (m.key, m.event) == slot)
    points = tuple(_point(s, g) for s, g in measured)
    baseline = _last(measured, SessionKind.BASELINE)
    after = _last(measured, SessionKind.ACQUISITION)
    gain = gain_mdc = None
    if baseline and after:
        place = _errors_shared(kind, baseline[0], after[0])
        d = st.difference(baseline[1], after[1], one_place=place, prior=prior)
        gain, gain_mdc = d.value, d.mdc95
    retention, transfer = (
        _delayed(measured, delayed, baseline, after, sessions, kind, prior)
        for delayed in (SessionKind.RETENTION, SessionKind.TRANSFER)
    )
    significant = gain is not None and gain_mdc is not None and abs(gain) >= gain_mdc
    verdict, why = _verdict(gain, significant, retention)
    return MetricProgress(
        key=slot[0],
        title=title,
        event=slot[1],
        unit=unit,
        series=points,
        gain=gain,
        gain_mdc95=gain_mdc,
        retention=retention if significant else None,
        transfer=transfer if significant else None,
        verdict=verdict,
        reason=note(why),
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


def _verdict(
    gain: float | None, significant: bool, retention: RetentionScore | None
) -> tuple[RetentionVerdict, NoteCode]:
    if gain is None:
        return RetentionVerdict.TOO_EARLY, NoteCode.NO_BASELINE_VALUE
    if not significant:
        return RetentionVerdict.NO_GAIN, NoteCode.GAIN_WITHIN_NOISE
    if retention is None:
        return RetentionVerdict.TOO_EARLY, NoteCode.NO_RETENTION_CHECK
    if retention.delay_hours < MIN_DELAY.total_seconds() / 3600:
        return RetentionVerdict.TOO_EARLY, NoteCode.RETENTION_TOO_SOON
    if retention.low <= 0 and retention.high >= 1:
        return RetentionVerdict.TOO_EARLY, NoteCode.RETENTION_UNCERTAIN
    if retention.value >= _KEPT and retention.low > 0:
        return RetentionVerdict.HELD, NoteCode.GAIN_KEPT
    if retention.value < _GONE and retention.high < 1:
        return RetentionVerdict.LOST, NoteCode.GAIN_GONE
    return RetentionVerdict.PARTLY_HELD, NoteCode.GAIN_PARTLY_KEPT


def _practised(sessions: Sequence[SessionAnalyses]) -> dict[RepetitionKind, int]:
    counts: Counter[RepetitionKind] = Counter()
    for session in sessions:
        if session.kind == SessionKind.ACQUISITION:
            counts.update(r.kind for a in session.analyses for r in a.repetitions)
    return dict(counts)


def _notes(sessions: Sequence[SessionAnalyses], kind: RepetitionKind) -> tuple[Note, ...]:
    notes = []
    films = _films(kind, *sessions)
    if len(sessions) > 1 and not one_place(films):
        notes.append(note(NoteCode.CAMERA_MOVED))
    notes.extend(maker_notes(films))
    if not any(s.kind == SessionKind.BASELINE for s in sessions):
        notes.append(note(NoteCode.NO_BASELINE_SESSION))
    if not any(s.kind == SessionKind.TRANSFER for s in sessions):
        notes.append(note(NoteCode.NO_TRANSFER_SESSION))
    return tuple(notes)
