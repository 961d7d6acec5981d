"""API keys: made, rotated, revoked, recognised. Their form: :mod:`service.core.key_text`.

An organisation always keeps one ``admin`` key in force that does not expire: whoever could remove
the last one would lock everybody out.
"""

from __future__ import annotations

import hmac
import secrets
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import func, select, update
from sqlalchemy.orm import Session

from models.contract.errors import InvalidRequest, LastAdminKey, NotFound, Unauthenticated
from models.contract.note_codes import NoteCode, say
from service.core.database import Database
from service.core.key_text import (
    digest_of,
    key_text,
    new_key_id,
    new_secret,
    parse_key,
    seed_of,
)
from service.core.principal import ORGANISATION_WIDE, Principal, Scope
from service.core.reach import EVERYTHING
from service.core.tables import MAIN_TENANT, ApiKey, FilmedSession, Organisation, Player

_USED_GRAIN = timedelta(hours=1)
"""The last use of a key is kept by the hour: enough to find dead ones."""
OVERLAP_H = 24
"""Hours for which the former secret of a key is good after a rotation (working value)."""
MAX_OVERLAP_H = 30 * 24
"""Longest overlap that can be asked for, hours."""


@dataclass(frozen=True, slots=True)
class KeyFacts:
    """What can be shown of a key."""

    id: str
    tenant_id: str
    name: str
    scopes: tuple[str, ...]
    created_at: datetime
    expires_at: datetime | None
    revoked_at: datetime | None
    last_used_at: datetime | None
    rotated_at: datetime | None
    previous_until: datetime | None
    player_id: str | None
    session_id: str | None


def facts_of(row: ApiKey) -> KeyFacts:
    """Return what can be shown of a row."""
    return KeyFacts(
        row.id,
        row.tenant_id,
        row.name,
        tuple(row.scopes),
        row.created_at,
        row.expires_at,
        row.revoked_at,
        row.last_used_at,
        row.rotated_at,
        row.previous_until,
        row.player_id,
        row.session_id,
    )


class Keys:
    """The API keys of the installation."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def add(
        self,
        name: str,
        scopes: tuple[Scope, ...] = (Scope.ADMIN,),
        *,
        tenant_id: str = MAIN_TENANT,
        expires_at: datetime | None = None,
        player_id: str | None = None,
        session_id: str | None = None,
    ) -> str:
        """Make a key and return it. This is the only time it can be seen."""
        secret = new_secret()
        with self._database.write() as session:
            row = self.enter(
                session,
                name,
                scopes,
                secret,
                tenant_id=tenant_id,
                expires_at=expires_at,
                player_id=player_id,
                session_id=session_id,
            )
            return key_text(row.id, secret)

    def enter(
        self,
        session: Session,
        name: str,
        scopes: Iterable[Scope],
        secret: str,
        *,
        tenant_id: str,
        key_id: str | None = None,
        expires_at: datetime | None = None,
        player_id: str | None = None,
        session_id: str | None = None,
    ) -> ApiKey:
        """Enter a key in the caller's transaction.

        Parameters
        ----------
        player_id, session_id : str or None
            The one player, or one session, that it reaches.

        Raises
        ------
        NotFound
            There is no such organisation, player or session.
        InvalidRequest
            The scopes reach beyond the player or session.
        LastAdminKey
            The first ``admin`` key of an organisation would expire.
        """
        wanted = frozenset(scopes)
        if session.get(Organisation, tenant_id) is None:
            raise NotFound(say(NoteCode.NO_SUCH_ORGANISATION))
        if session_id is not None:
            filmed = session.get(FilmedSession, session_id)
            if filmed is None or filmed.tenant_id != tenant_id:
                raise NotFound(say(NoteCode.NO_SUCH_SESSION))
            if player_id not in (None, filmed.player_id):
                raise NotFound(say(NoteCode.NO_SUCH_SESSION))
            player_id = filmed.player_id
        elif player_id is not None:
            player = session.get(Player, player_id)
            if player is None or player.tenant_id != tenant_id:
                raise NotFound(say(NoteCode.NO_SUCH_PLAYER))
        if player_id is not None and (beyond := wanted & ORGANISATION_WIDE):
            raise InvalidRequest(
                say(NoteCode.SCOPES_BEYOND_PLAYER, scopes=tuple(sorted(beyond))), pointer="/scopes"
            )
        if Scope.ADMIN in wanted and expires_at is not None:
            self._keep_an_admin(session, tenant_id)
        row = ApiKey(
            id=key_id or new_key_id(),
            tenant_id=tenant_id,
            player_id=player_id,
            session_id=session_id,
            name=name,
            digest=digest_of(secret),
            scopes=sorted(str(scope) for scope in wanted),
            created_at=self._database.now(session),
            expires_at=expires_at,
        )
        session.add(row)
        session.flush()
        return row

    def add_first(self, given: str | None = None) -> str | None:
        """Make the first admin key of the first organisation when it has no key; else None.

        Parameters
        ----------
        given : str or None
            The key that the owner chose; None = a new one.
        """
        if self.any():
            return None
        # Two processes starting at once must not both hand out a key.
        if not self._database.take_lock("first-key", secrets.token_hex(8), 60):
            return None
        if self.any():
            return None
        key_id, secret = (given and parse_key(given)) or (new_key_id(), new_secret())
        with self._database.write() as session:
            self.enter(
                session,
                "first admin key",
                (Scope.ADMIN,),
                secret,
                tenant_id=MAIN_TENANT,
                key_id=key_id,
            )
        return key_text(key_id, secret)

    def replace(self, key_id: str, overlap: timedelta) -> str:
        """Give a key of whatever organisation a new secret; return the key, shown only now."""
        secret = new_secret()
        with self._database.write() as session:
            self.rotate(session, None, key_id, secret, overlap)
        return key_text(key_id, secret)

    def rotate(
        self, session: Session, tenant_id: str | None, key_id: str, secret: str, overlap: timedelta
    ) -> ApiKey:
        """Give a key a new secret in the caller's transaction; the former one is good a while."""
        row = self._in_force(session, tenant_id, key_id)
        now = self._database.now(session)
        row.previous_digest, row.digest = row.digest, digest_of(secret)
        row.previous_until = now + overlap
        row.rotated_at = now
        session.flush()
        return row

    def revoke(self, key_id: str, tenant_id: str | None = None) -> None:
        """End a key at once.

        Raises
        ------
        NotFound
            There is no such key in force (in that organisation).
        LastAdminKey
            It is the last admin key of its organisation that does not expire.
        """
        with self._database.write() as session:
            row = self._in_force(session, tenant_id, key_id)
            if Scope.ADMIN in row.scopes:
                self._keep_an_admin(session, row.tenant_id, without=key_id)
            row.revoked_at = self._database.now(session)

    def list(self, tenant_id: str | None = None) -> list[KeyFacts]:
        """Return the keys, oldest first: of one organisation, or all."""
        query = select(ApiKey).order_by(ApiKey.created_at, ApiKey.id)
        if tenant_id is not None:
            query = query.where(ApiKey.tenant_id == tenant_id)
        with self._database.read() as session:
            rows = session.scalars(query).all()
        return [facts_of(row) for row in rows]

    def any(self) -> bool:
        """Tell whether the first organisation has a key already."""
        with self._database.read() as session:
            found = select(func.count()).select_from(ApiKey).where(ApiKey.tenant_id == MAIN_TENANT)
            return session.execute(found).scalar_one() > 0

    def find(self, tenant_id: str, key_id: str) -> KeyFacts:
        """Return one key of an organisation, or raise ``NotFound``."""
        with self._database.read() as session:
            row = session.get(ApiKey, key_id)
        if row is None or row.tenant_id != tenant_id:
            raise NotFound()
        return facts_of(row)

    def is_secret_of(self, key_id: str, secret: str) -> bool:
        """Tell whether a key, of whatever organisation, has this secret now."""
        with self._database.read(EVERYTHING) as session:
            row = session.get(ApiKey, key_id)
        return row is not None and hmac.compare_digest(row.digest, digest_of(secret))

    def authenticate(self, text: str) -> Principal:
        """Return who holds this key, or raise :class:`Unauthenticated`."""
        parsed = parse_key(text)
        if parsed is None:
            raise Unauthenticated()
        key_id, secret = parsed
        with self._database.read(EVERYTHING) as session:
            row = session.get(ApiKey, key_id)
            owner = None if row is None else session.get(Organisation, row.tenant_id)
            now = self._database.now(session)
        given = digest_of(secret)
        same = hmac.compare_digest(row.digest if row is not None else "0" * 64, given)
        if row is not None and row.previous_digest is not None and row.previous_until is not None:
            former = hmac.compare_digest(row.previous_digest, given)
            same = same or (former and row.previous_until > now)
        if row is None or not same or row.revoked_at is not None:
            raise Unauthenticated()
        if row.expires_at is not None and row.expires_at <= now:
            raise Unauthenticated(say(NoteCode.KEY_EXPIRED))
        if row.last_used_at is None or now - row.last_used_at >= _USED_GRAIN:
            with self._database.write(EVERYTHING) as session:
                session.execute(update(ApiKey).where(ApiKey.id == key_id).values(last_used_at=now))
        return Principal(
            row.id,
            row.tenant_id,
            frozenset(row.scopes),
            row.player_id,
            row.session_id,
            seed_of(secret),
            owner.limits.get("requests_per_minute") if owner is not None else None,
        )

    def _in_force(self, session: Session, tenant_id: str | None, key_id: str) -> ApiKey:
        query = select(ApiKey).where(ApiKey.id == key_id, ApiKey.revoked_at.is_(None))
        if tenant_id is not None:
            query = query.where(ApiKey.tenant_id == tenant_id)
        row = session.scalars(query.with_for_update()).one_or_none()
        if row is None:
            raise NotFound(say(NoteCode.NO_SUCH_KEY))
        return row

    def _keep_an_admin(self, session: Session, tenant_id: str, without: str = "") -> None:
        """Raise unless an admin key that does not expire is left, under a lock."""
        session.execute(
            select(Organisation.id)
            .where(Organisation.id == tenant_id)
            .with_for_update(key_share=True)
        )
        rows = session.scalars(
            select(ApiKey).where(
                ApiKey.tenant_id == tenant_id,
                ApiKey.id != without,
                ApiKey.revoked_at.is_(None),
                ApiKey.expires_at.is_(None),
            )
        )
        if all(Scope.ADMIN not in row.scopes for row in rows):
            raise LastAdminKey(about=without or tenant_id)
