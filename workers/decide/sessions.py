"""One filmed session of a player, and how sessions make cycles."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from models.contract.analysis import Analysis
from models.contract.progress import SessionKind
from workers.decide.placed import Placed

DELAYED = frozenset({SessionKind.RETENTION, SessionKind.TRANSFER})
"""Tests after practice: what is practised after one belongs to the next cycle."""


@dataclass(frozen=True, slots=True)
class SessionAnalyses:
    """One filmed session. ``analyses`` may hold serves and drill repetitions.

    Attributes
    ----------
    drill : str or None
        Id of the drill of the rules that was filmed, where it is known.
    names : tuple of str
        What each analysis is called; empty = by number.
    places : tuple of Placed
        The analyses by camera place, where that was worked out.
    """

    name: str
    kind: SessionKind
    at: datetime
    analyses: tuple[Analysis, ...]
    drill: str | None = None
    names: tuple[str, ...] = ()
    places: tuple[Placed, ...] = ()

    @property
    def named(self) -> list[tuple[str, Analysis]]:
        """The analyses with what each is called."""
        numbers = tuple(str(n) for n in range(1, len(self.analyses) + 1))
        return list(zip(self.names or numbers, self.analyses, strict=True))


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
