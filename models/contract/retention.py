"""When to film a retention check: the usual delays after the last practice.

Performance on the day of practice mixes temporary effects; only a delayed test, at least 24 h
after the last practice and before any coaching, speaks for learning (summary of motor-learning
research: Psychol Res 2012; delays of 24 h, 1 week and 4 weeks are the usual ones).
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta

from models.contract.note import note
from models.contract.note_codes import NoteCode
from models.contract.progress import NextCheck, SessionKind

MIN_DELAY = timedelta(hours=24)
"""Sooner after practice a film shows performance, not yet learning (common practice)."""

SCHEDULE: tuple[tuple[timedelta, timedelta, str], ...] = (
    (timedelta(hours=24), timedelta(hours=72), "one_to_three_days"),
    (timedelta(days=6), timedelta(days=9), "one_week"),
    (timedelta(days=25), timedelta(days=35), "four_weeks"),
)
"""Windows after the last practice in which to film a retention check (common delays), named as in
the table ``delay`` of the words."""


def next_check(
    practised: Iterable[datetime], tested: Iterable[datetime], now: datetime
) -> NextCheck | None:
    """Return the first usual delay that was neither filmed nor missed; None without one.

    Parameters
    ----------
    practised, tested : iterable of datetime
        When acquisition and retention sessions were filmed.
    """
    practice = list(practised)
    if not practice:
        return None
    last = max(practice)
    tests = [moment for moment in tested if moment > last]
    for earliest, latest, delay in SCHEDULE:
        if last + latest < now or any(last + earliest <= t <= last + latest for t in tests):
            continue
        return NextCheck(
            kind=SessionKind.RETENTION,
            not_before=last + earliest,
            not_after=last + latest,
            reason=note(NoteCode.RETENTION_CHECK_DUE, delay=delay),
        )
    return None
