"""Organisations: made, listed, changed, and what they used.

Those who run the installation (admin keys of the first organisation, the command line) see all of
them, but not what is in them; everybody else sees their own.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from types import MappingProxyType
from typing import Any

from sqlalchemy import select, tuple_
from sqlalchemy.orm import Session

from models.contract.errors import Forbidden, NotFound
from models.contract.note_codes import NoteCode, say
from service.core.access import Keys
from service.core.database import Database
from service.core.identifiers import new_id
from service.core.keyset import Page, Position
from service.core.principal import Principal, Scope
from service.core.reach import EVERYTHING, Reach
from service.core.tables import ApiKey, Organisation
from service.core.usage import MonthOfUse, used


def require_operator(principal: Principal) -> None:
    """Raise ``Forbidden`` unless the caller runs the installation."""
    if not principal.runs_the_installation:
        raise Forbidden(say(NoteCode.NOT_OF_FIRST_ORGANISATION))


def _reach(principal: Principal) -> Reach:
    return EVERYTHING if principal.runs_the_installation else principal.reach


class Organisations:
    """The organisations of the installation."""

    def __init__(self, database: Database, keys: Keys) -> None:
        self._database = database
        self._keys = keys

    def enter(
        self,
        session: Session,
        name: str,
        limits: Mapping[str, int],
        key_id: str,
        secret: str,
        keeping: Mapping[str, int] = MappingProxyType({}),
    ) -> Organisation:
        """Enter an organisation with its first admin key in the caller's transaction."""
        now = self._database.now(session)
        row = Organisation(
            id=new_id("org"),
            created_at=now,
            updated_at=now,
            name=name,
            limits=dict(limits),
            keeping=dict(keeping),
        )
        session.add(row)
        session.flush()
        self._keys.enter(
            session, "first admin key", (Scope.ADMIN,), secret, tenant_id=row.id, key_id=key_id
        )
        return row

    def first_key(self, organisation_id: str) -> str:
        """Return the id of the key that was made with an organisation."""
        with self._database.read(EVERYTHING) as session:
            found = session.scalars(
                select(ApiKey.id)
                .where(ApiKey.tenant_id == organisation_id)
                .order_by(ApiKey.created_at, ApiKey.id)
                .limit(1)
            ).one_or_none()
        if found is None:
            raise NotFound(say(NoteCode.NO_SUCH_KEY))
        return found

    def get(self, principal: Principal, organisation_id: str) -> Organisation:
        """Return an organisation the caller may see, or raise ``NotFound``."""
        with self._database.read(_reach(principal)) as session:
            return _find(session, organisation_id)

    def page(self, principal: Principal, after: Position | None, limit: int) -> Page[Organisation]:
        """Return one page of those the caller may see, newest first."""
        query = select(Organisation)
        if after is not None:
            place = tuple_(Organisation.created_at, Organisation.id)
            query = query.where(place < (after.created_at, after.id))
        query = query.order_by(Organisation.created_at.desc(), Organisation.id.desc())
        with self._database.read(_reach(principal)) as session:
            rows = session.scalars(query.limit(limit + 1)).all()
        kept = rows[:limit]
        more = len(rows) > limit
        return Page(kept, Position(kept[-1].created_at, kept[-1].id) if more else None)

    def all(self) -> list[Organisation]:
        """Return all of them, oldest first: for the command line."""
        with self._database.read() as session:
            rows = session.scalars(
                select(Organisation).order_by(Organisation.created_at, Organisation.id)
            )
            return list(rows)

    def change(
        self,
        organisation_id: str,
        values: Mapping[str, Any],
        unless_changed: Any = lambda _row: None,
    ) -> Organisation:
        """Change columns. ``unless_changed(row)`` may raise when the row is not as expected."""
        with self._database.write(EVERYTHING) as session:
            row = _find(session, organisation_id, lock=True)
            unless_changed(row)
            for name, value in values.items():
                setattr(row, name, value)
            row.updated_at = self._database.now(session)
            if "keeping" in values:
                row.keeping_since = row.updated_at
            return row

    def usage(
        self, principal: Principal, organisation_id: str, first: str | None, last: str | None
    ) -> list[MonthOfUse]:
        """Return what an organisation used by month, or raise ``NotFound``."""
        with self._database.read(_reach(principal)) as session:
            _find(session, organisation_id)
            return used(session, organisation_id, first, last)

    def now(self) -> datetime:
        """Return the present time by the clock of the database."""
        with self._database.read() as session:
            return self._database.now(session)


def _find(session: Session, organisation_id: str, *, lock: bool = False) -> Organisation:
    query = select(Organisation).where(Organisation.id == organisation_id)
    if lock:
        query = query.with_for_update(key_share=True)
    row = session.scalars(query).one_or_none()
    if row is None:
        raise NotFound(say(NoteCode.NO_SUCH_ORGANISATION))
    return row
