"""What has stayed of a gain: verdicts, relapse and its new cycle, the answer in a sentence."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

from models.contract.comparison import MetricDifference, Verdict
from models.contract.metrics.catalogue import CATALOGUE
from models.contract.metrics.definition import metric_name
from models.contract.note import Note, note
from models.contract.note_codes import NoteCode
from models.contract.progress import (
    MetricProgress,
    NextCheck,
    Relapse,
    RetentionScore,
    RetentionVerdict,
    SessionKind,
)
from models.contract.retention import MIN_DELAY, SCHEDULE

_KEPT, _GONE = 0.8, 0.2
"""Shares of a gain: from the first on it is held, below the second it is lost (working values)."""
PRACTISE_AGAIN = timedelta(days=14)
"""Length of the practice after a relapse, until the check of the new cycle (working value)."""
LEAST_LEFT = timedelta(days=7)
"""The new cycle starts with the test that shows the relapse, or now where less than this is left of
its practice (working value: a week, the unit in which doses are given)."""
STAYED = frozenset({RetentionVerdict.HELD, RetentionVerdict.PARTLY_HELD})
TOLD = STAYED | {RetentionVerdict.LOST}


def scored(gain: MetricDifference | None) -> bool:
    """Whether there is a gain whose share kept means anything.

    Of a gain that is only probable, one in twenty numbers that did not move has one, and loses it
    again by chance: it counts where it was worked on.
    """
    if gain is None:
        return False
    sure = gain.verdict is Verdict.SURELY_CHANGED
    return sure or (gain.focus and gain.verdict is Verdict.PROBABLY_CHANGED)


def verdict(
    gain: MetricDifference | None, retention: RetentionScore | None
) -> tuple[RetentionVerdict, Note]:
    """Return what the delayed test says of a gain, with the reason.

    Held or partly held is said only where the interval of the share kept does not include nothing.
    """
    if gain is None:
        return RetentionVerdict.TOO_EARLY, note(NoteCode.NO_BASELINE_VALUE)
    if gain.verdict is Verdict.CANNOT_TELL:
        return RetentionVerdict.UNCLEAR, gain.reason or note(NoteCode.CHANGE_BEYOND_RANGE)
    if gain.verdict is Verdict.NO_CHANGE_SEEN:
        return RetentionVerdict.NO_GAIN, note(NoteCode.GAIN_WITHIN_NOISE)
    if not scored(gain):
        return RetentionVerdict.UNCLEAR, note(NoteCode.GAIN_ONLY_PROBABLE)
    if retention is None:
        return RetentionVerdict.TOO_EARLY, note(NoteCode.NO_RETENTION_CHECK)
    if retention.delay_hours < MIN_DELAY.total_seconds() / 3600:
        return RetentionVerdict.TOO_EARLY, note(NoteCode.RETENTION_TOO_SOON)
    found = stayed(retention)
    codes = {
        RetentionVerdict.HELD: NoteCode.GAIN_KEPT,
        RetentionVerdict.PARTLY_HELD: NoteCode.GAIN_PARTLY_KEPT,
        RetentionVerdict.LOST: NoteCode.GAIN_GONE,
        RetentionVerdict.UNCLEAR: NoteCode.RETENTION_UNCERTAIN,
    }
    return found, note(codes[found])


def stayed(score: RetentionScore) -> RetentionVerdict:
    """Return what a share of a gain, with its interval, says."""
    if score.value < _GONE and score.high < 1:
        return RetentionVerdict.LOST
    if score.low <= 0:
        return RetentionVerdict.UNCLEAR
    return RetentionVerdict.HELD if score.value >= _KEPT else RetentionVerdict.PARTLY_HELD


def agreeing(rows: Sequence[MetricProgress]) -> list[MetricProgress]:
    """Let readings of one movement not contradict each other: the surest gain speaks for it."""
    leaders = _leaders([row for row in rows if row.verdict in TOLD])
    return [_beside(row, leaders.get(CATALOGUE.movement(row.key))) for row in rows]


def _leaders(rows: Sequence[MetricProgress]) -> dict[str, MetricProgress]:
    leaders: dict[str, MetricProgress] = {}
    for row in sorted(rows, key=_sureness, reverse=True):
        leaders.setdefault(CATALOGUE.movement(row.key), row)
    return leaders


def _sureness(row: MetricProgress) -> tuple[bool, float]:
    return row.focus, abs(row.gain or 0.0) / (row.gain_threshold or 1.0)


def _beside(row: MetricProgress, leader: MetricProgress | None) -> MetricProgress:
    if leader is None or row is leader or row.verdict not in TOLD or row.key == leader.key:
        return row
    if (row.verdict in STAYED) == (leader.verdict in STAYED):
        return row
    return row.model_copy(
        update={
            "verdict": RetentionVerdict.UNCLEAR,
            "reason": note(NoteCode.OTHER_READING),
            "retention": None,
        }
    )


def _asked(rows: Sequence[MetricProgress]) -> list[MetricProgress]:
    """Return the rows that the answer is about: the focus, or what surely gained; one a movement,
    what can be told first.
    """
    about = [row for row in rows if row.focus] or [
        row for row in rows if row.gain_verdict is Verdict.SURELY_CHANGED
    ]
    told = _leaders([row for row in about if row.verdict in TOLD])
    rest = _leaders([row for row in about if CATALOGUE.movement(row.key) not in told])
    return [*told.values(), *rest.values()]


def relapse_of(
    rows: Sequence[MetricProgress],
    sessions: Sequence[tuple[datetime, SessionKind]],
    now: datetime,
    cycle: int,
) -> Relapse | None:
    """Return the relapse of what the answer is about, and the dates of the cycle after this one.

    Documents that are made on other days state the same dates, as long as there is time left.
    """
    lost = [row for row in _asked(rows) if row.verdict is RetentionVerdict.LOST]
    tests = [at for at, kind in sessions if kind == SessionKind.RETENTION]
    if not lost or not tests:
        return None
    start = max(tests)
    if start + PRACTISE_AGAIN - now < LEAST_LEFT:
        start = now
    until = start + PRACTISE_AGAIN
    earliest, latest, delay = SCHEDULE[0]
    return Relapse(
        metrics=tuple(metric_name(row.key, row.event) for row in lost),
        found_at=max(tests),
        cycle=cycle + 1,
        starts_at=start,
        practise_until=until,
        check=NextCheck(
            kind=SessionKind.RETENTION,
            not_before=until + earliest,
            not_after=until + latest,
            reason=note(NoteCode.RETENTION_CHECK_DUE, delay=delay),
        ),
    )


def practise_again(relapse: Relapse, now: datetime) -> NextCheck:
    """Return when to film after a relapse: the practice of the new cycle."""
    return NextCheck(
        kind=SessionKind.ACQUISITION,
        not_before=max(now, relapse.found_at),
        not_after=relapse.practise_until,
        reason=note(NoteCode.NEW_CYCLE),
    )


def _in_match_alone(asked: Sequence[MetricProgress]) -> Note | None:
    """Return what a match days after practice says, where no check was filmed besides."""
    least = MIN_DELAY.total_seconds() / 3600
    scores = [row.transfer for row in asked if row.transfer is not None]
    shown = {stayed(score) for score in scores if score.delay_hours >= least}
    if len(scores) < len(asked) or not shown or RetentionVerdict.UNCLEAR in shown:
        return None
    day = max(round(score.delay_hours / 24) for score in scores)
    if shown <= STAYED:
        return note(NoteCode.ANSWER_SHOWS_IN_MATCH, day=day)
    if shown == {RetentionVerdict.LOST}:
        return note(NoteCode.ANSWER_ONLY_MATCH_LOST, day=day)
    return None


def answer(rows: Sequence[MetricProgress], relapse: Relapse | None) -> Note:
    """Return whether it holds after days and in a match, in one sentence."""
    asked = _asked(rows)
    told = [row for row in asked if row.verdict in TOLD and row.retention is not None]
    if not told:
        if not asked or all(row.verdict is RetentionVerdict.NO_GAIN for row in asked):
            gains = any(row.gain_verdict is not None for row in rows)
            return note(NoteCode.ANSWER_NO_GAIN if gains else NoteCode.ANSWER_NOT_TESTED)
        if (alone := _in_match_alone(asked)) is not None:
            return alone
        early = any(row.verdict is RetentionVerdict.TOO_EARLY for row in asked)
        return note(NoteCode.ANSWER_NOT_TESTED if early else NoteCode.ANSWER_UNCLEAR)
    day = max(round(row.retention.delay_hours / 24) for row in told if row.retention is not None)
    if relapse is not None and not any(row.verdict in STAYED for row in told):
        return note(NoteCode.ANSWER_RELAPSE, day=day)
    if any(row.verdict is not RetentionVerdict.HELD for row in told):
        return note(NoteCode.ANSWER_PARTLY, day=day)
    scores = [row.transfer for row in told]
    shown = [stayed(score) for score in scores if score is not None]
    if len(shown) < len(scores):
        return note(NoteCode.ANSWER_HOLDS_NO_MATCH, day=day)
    if all(one in STAYED for one in shown):
        return note(NoteCode.ANSWER_HOLDS_IN_MATCH, day=day)
    if RetentionVerdict.LOST in shown:
        return note(NoteCode.ANSWER_NOT_IN_MATCH, day=day)
    return note(NoteCode.ANSWER_MATCH_UNCLEAR, day=day)
