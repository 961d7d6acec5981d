"""Players and the sessions in which they were filmed."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from models.contract.errors import ExternalIdTaken, InvalidRequest, NotFound
from models.contract.note_codes import NoteCode, say
from service.core.database import Database
from service.core.identifiers import new_id
from service.core.principal import Principal
from service.core.reach import whole_organisation
from service.core.tables import FilmedSession, Player

ADULT_YEARS = 18
"""Age of majority; the common age, laws differ."""
CLOCK_AHEAD = timedelta(minutes=10)
"""How far the clock of a phone may be ahead of ours (working value)."""


def may_be_minor(player: Player, now: datetime) -> bool:
    """Tell whether a player may be under 18. At most the year is known, so the doubt counts."""
    return player.birth_year is None or now.year - player.birth_year <= ADULT_YEARS


def known_minor(player: Player, now: datetime) -> bool:
    """Tell whether the year of birth is known and may mean under 18: nobody consents alone then."""
    return player.birth_year is not None and may_be_minor(player, now)


class PlayerStore:
    """Registers and changes players and sessions. Erasing them: :mod:`service.core.erasure`."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def create(self, session: Session, principal: Principal, values: Mapping[str, Any]) -> Player:
        """Enter a player in the caller's transaction."""
        _check_free(session, principal, values["external_id"])
        now = self._database.now(session)
        row = Player(
            id=new_id("ply"),
            tenant_id=principal.tenant_id,
            created_at=now,
            updated_at=now,
            **values,
        )
        try:
            with session.begin_nested():
                session.add(row)
        except IntegrityError:  # another request entered it at the same moment
            _check_free(session, principal, row.external_id)
            raise
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
        with self._database.write() as session:
            row = find_player(session, principal, player_id, lock=True)
            unless_changed(row)
            now = self._database.now(session)
            wanted = values.get("external_id", row.external_id)
            _check_free(session, principal, wanted, but=row.id)
            try:
                with session.begin_nested():
                    for name, value in values.items():
                        setattr(row, name, value)
                    row.updated_at = now
            except IntegrityError:  # another request took the external id at the same moment
                _check_free(session, principal, wanted, but=player_id)
                raise
            return row

    def create_session(
        self, session: Session, principal: Principal, player_id: str, values: Mapping[str, Any]
    ) -> FilmedSession:
        """Enter a session of a player in the caller's transaction."""
        find_player(session, principal, player_id)
        now = self._database.now(session)
        _check_filmed(values, now)
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
            now = self._database.now(session)
            _check_filmed(values, now)
            for name, value in values.items():
                setattr(row, name, value)
            row.updated_at = now
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


def _check_filmed(values: Mapping[str, Any], now: datetime) -> None:
    filmed_at = values.get("filmed_at")
    if filmed_at is not None and filmed_at > now + CLOCK_AHEAD:
        raise InvalidRequest(say(NoteCode.FILMED_IN_FUTURE), pointer="/filmed_at")


def _check_free(
    session: Session, principal: Principal, external_id: str, but: str | None = None
) -> None:
    """Raise when another player of the organisation has this external id."""
    taken = select(Player.id).where(
        Player.tenant_id == principal.tenant_id,
        Player.external_id == external_id,
        Player.id != (but or ""),
    )
    with whole_organisation(session):
        other = session.scalars(taken).first()
    if other is not None:
        raise ExternalIdTaken(about=principal.player_id or other)  # a bound key sees its own
