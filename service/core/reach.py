"""How far a request reaches: which rows a database session may see and write.

Set once a request, where its key or its link is recognised; every database session takes it over
(see :mod:`service.core.narrowing`), so that no route and no store can forget it. Outside requests
(workers, command line, background loops) it is everything; inside one, nothing until it is set.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, replace

from sqlalchemy.orm import Session

REACH = "reach"
"""Name of the reach in ``Session.info``."""


@dataclass(frozen=True, slots=True)
class Reach:
    """Which rows may be seen and written.

    Attributes
    ----------
    tenant_id : str or None
        The organisation whose rows they are; None = of nobody.
    player_id : str or None
        Only what is of this player.
    session_id : str or None
        Only what is of this session (of that player).
    everything : bool
        All rows: the service itself, not a caller.
    """

    tenant_id: str | None
    player_id: str | None = None
    session_id: str | None = None
    everything: bool = False

    @property
    def bound(self) -> bool:
        """Whether it ends at one player."""
        return self.player_id is not None

    def whole(self) -> Reach:
        """Return the reach of the organisation as a whole."""
        return replace(self, player_id=None, session_id=None)


EVERYTHING = Reach(None, everything=True)
NOTHING = Reach(None)
_current: ContextVar[Reach] = ContextVar("reach", default=EVERYTHING)


def current_reach() -> Reach:
    """Return how far what runs now reaches."""
    return _current.get()


@contextmanager
def reaching(reach: Reach) -> Iterator[None]:
    """Give database sessions that are opened inside this reach."""
    token = _current.set(reach)
    try:
        yield
    finally:
        _current.reset(token)


@contextmanager
def whole_organisation(session: Session) -> Iterator[None]:
    """Let a session of a bound key see its organisation as a whole.

    For what the service itself must do beyond the key: erase what was made from an erased film,
    tell endpoints of an event, count towards a quota. Never for what is shown to the caller.
    """
    before: Reach = session.info[REACH]
    session.flush()
    session.info[REACH] = before.whole()
    try:
        yield
        session.flush()
    finally:
        session.info[REACH] = before
