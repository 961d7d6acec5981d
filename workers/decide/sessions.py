"""One filmed session of a player, and how sessions make cycles."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from models.contract.analysis import Analysis
from models.contract.progress import SessionKind

DELAYED = frozenset({SessionKind.RETENTION, SessionKind.TRANSFER})
"""Tests after practice: what is practised after one belongs to the next cycle."""


@dataclass(frozen=True, slots=True)
class SessionAnalyses:
    """One filmed session. ``analyses`` may hold serves and drill repetitions; ``drill``: the id
    of the drill of the rules that was filmed, where it is known.
    """

    name: str
    kind: SessionKind
    at: datetime
    analyses: tuple[Analysis, ...]
    drill: str | None = None


def cycle_of(sessions: Sequence[SessionAnalyses]) -> tuple[int, datetime | None]:
    """Return the number of the cycle and its first practice, of sessions in order of time.

    Practice after a delayed test starts the next cycle.
    """
    cycle, since, tested = 0, None, True
    for session in sessions:
        if session.kind == SessionKind.ACQUISITION and tested:
            cycle, since, tested = cycle + 1, session.at, False
        elif session.kind in DELAYED and cycle:
            tested = True
    return max(cycle, 1), since
