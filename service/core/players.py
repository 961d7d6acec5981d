"""Players and the sessions in which they were filmed."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from models.contract.errors import Conflict, NotFound
from models.contract.note_codes import NoteCode, say
from service.core.database import Database
from service.core.identifiers import new_id
from service.core.principal import Principal
from service.core.tables import FilmedSession, Player

ADULT_YEARS = 18
"""Age of majority; the common age, laws differ."""


def may_be_minor(player: Player, now: datetime) -> bool:
    """Tell whether a player may be under 18. At most the year is known, so the doubt counts."""
    return player.birth_year is None or now.year - player.birth_year <= ADULT_YEARS


class PlayerStore:
    """Registers and changes players and sessions. Erasing them: :mod:`service.core.erasure`."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def create(self, session: Session, principal: Principal, values: Mapping[str, Any]) -> Player:
        """Enter a player in the caller's transaction."""
        taken = select(Player.id).where(
            Player.tenant_id == principal.tenant_id, Player.external_id == values["external_id"]
        )
        if session.execute(taken).first() is not None:
            raise _taken()
        now = self._database.now(session)
        row = Player(
            id=new_id("ply"),
            tenant_id=principal.tenant_id,
            created_at=now,
            updated_at=now,
            **values,
        )
        session.add(row)
        try:
            session.flush()
        except IntegrityError:  # another request entered it at the same moment
            raise _taken() from None
        return row

    def get(self, principal: Principal, player_id: str) -> Player:
        """Return a player of this tenant, or raise ``NotFound``."""
        with self._database.read() as session:
            return find_player(session, principal, player_id)

    def change(
        self,
        principal: Principal,
        player_id: str,
        values: Mapping[str, Any],
        unless_changed: Callable[[Player], None],
    ) -> Player:
        """Change columns. ``unless_changed(row)`` may raise when the row is not as expected."""
        try:
            with self._database.write() as session:
                row = find_player(session, principal, player_id, lock=True)
                unless_changed(row)
                for name, value in values.items():
                    setattr(row, name, value)
                row.updated_at = self._database.now(session)
                session.flush()
                return row
        except IntegrityError:
            raise _taken() from None

    def create_session(
        self, session: Session, principal: Principal, player_id: str, values: Mapping[str, Any]
    ) -> FilmedSession:
        """Enter a session of a player in the caller's transaction."""
        find_player(session, principal, player_id)
        now = self._database.now(session)
        row = FilmedSession(
            id=new_id("ses"),
            tenant_id=principal.tenant_id,
            player_id=player_id,
            created_at=now,
            updated_at=now,
            **values,
        )
        session.add(row)
        session.flush()
        return row

    def get_session(
        self, principal: Principal, session_id: str, player_id: str | None = None
    ) -> FilmedSession:
        """Return a session of this tenant (and player), or raise ``NotFound``."""
        with self._database.read() as session:
            return find_session(session, principal, session_id, player_id)

    def change_session(
        self,
        principal: Principal,
        player_id: str,
        session_id: str,
        values: Mapping[str, Any],
        unless_changed: Callable[[FilmedSession], None],
    ) -> FilmedSession:
        """Change columns of a session."""
        with self._database.write() as session:
            row = find_session(session, principal, session_id, player_id, lock=True)
            unless_changed(row)
            for name, value in values.items():
                setattr(row, name, value)
            row.updated_at = self._database.now(session)
            return row


def find_player(
    session: Session, principal: Principal, player_id: str, *, lock: bool = False
) -> Player:
    """Return a player of this tenant, or raise ``NotFound``."""
    query = select(Player).where(Player.id == player_id, Player.tenant_id == principal.tenant_id)
    row = session.scalars(query.with_for_update() if lock else query).one_or_none()
    if row is None:
        raise NotFound(say(NoteCode.NO_SUCH_PLAYER))
    return row


def find_session(
    session: Session,
    principal: Principal,
    session_id: str,
    player_id: str | None = None,
    *,
    lock: bool = False,
) -> FilmedSession:
    """Return a session of this tenant, or raise ``NotFound``."""
    query = select(FilmedSession).where(
        FilmedSession.id == session_id, FilmedSession.tenant_id == principal.tenant_id
    )
    if player_id is not None:
        query = query.where(FilmedSession.player_id == player_id)
    row = session.scalars(query.with_for_update() if lock else query).one_or_none()
    if row is None:
        raise NotFound(say(NoteCode.NO_SUCH_SESSION))
    return row


def _taken() -> Conflict:
    return Conflict(say(NoteCode.EXTERNAL_ID_TAKEN))
