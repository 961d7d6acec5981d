"""API keys: ``sw_ID_SECRET_CHECK``. The secret is 32 random bytes, so one SHA-256 is enough to
store it by; it is shown once. The check digits let a typing error be told from an unknown key,
and let scanners recognise a leaked key.
"""

from __future__ import annotations

import hashlib
import hmac
import re
import secrets
import zlib
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum

from sqlalchemy import func, select, update

from models.contract.errors import NotFound, Unauthenticated
from models.contract.note_codes import NoteCode, say
from service.core.database import Database
from service.core.tables import MAIN_TENANT, ApiKey

_FORM = re.compile(r"^sw_([0-9a-f]{16})_([0-9a-f]{64})_([0-9a-f]{8})$")
_USED_GRAIN = timedelta(hours=1)
"""The last use of a key is kept by the hour: enough to find dead ones."""


class Scope(StrEnum):
    """What a key may do."""

    CLIPS_READ = "clips:read"
    CLIPS_WRITE = "clips:write"
    ANALYSES_WRITE = "analyses:write"
    RESULTS_READ = "results:read"
    WEBHOOKS_MANAGE = "webhooks:manage"
    CLIPS_ERASE = "clips:erase"
    PLAYERS_READ = "players:read"
    PLAYERS_WRITE = "players:write"
    RULES_MANAGE = "rules:manage"
    ADMIN = "admin"


@dataclass(frozen=True, slots=True)
class Principal:
    """Who asks: the key, its tenant, its scopes."""

    key_id: str
    tenant_id: str
    scopes: frozenset[str]

    def may(self, scope: Scope) -> bool:
        """Tell whether the key holds the scope; ``admin`` holds all."""
        return scope in self.scopes or Scope.ADMIN in self.scopes


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


def _check(body: str) -> str:
    return f"{zlib.crc32(body.encode()):08x}"


def _digest(secret: str) -> str:
    return hashlib.sha256(bytes.fromhex(secret)).hexdigest()


def parse_key(text: str) -> tuple[str, str] | None:
    """Return (id, secret) of a well-formed key, or None."""
    match = _FORM.match(text)
    if match is None:
        return None
    key_id, secret, check = match.groups()
    return (key_id, secret) if _check(f"sw_{key_id}_{secret}") == check else None


def _facts(row: ApiKey) -> KeyFacts:
    return KeyFacts(
        row.id,
        row.tenant_id,
        row.name,
        tuple(row.scopes),
        row.created_at,
        row.expires_at,
        row.revoked_at,
        row.last_used_at,
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
    ) -> str:
        """Make a key and return it. This is the only time it can be seen."""
        key_id, secret = secrets.token_hex(8), secrets.token_hex(32)
        with self._database.write() as session:
            session.add(
                ApiKey(
                    id=key_id,
                    tenant_id=tenant_id,
                    name=name,
                    digest=_digest(secret),
                    scopes=[str(scope) for scope in scopes],
                    created_at=self._database.now(session),
                    expires_at=expires_at,
                )
            )
        body = f"sw_{key_id}_{secret}"
        return f"{body}_{_check(body)}"

    def add_first(self) -> str | None:
        """Make the first admin key when there is no key at all; None otherwise."""
        with self._database.read() as session:
            if session.execute(select(func.count()).select_from(ApiKey)).scalar_one():
                return None
        # Two processes starting at once must not both print a key.
        if not self._database.take_lock("first-key", secrets.token_hex(8), 60):
            return None
        with self._database.read() as session:
            if session.execute(select(func.count()).select_from(ApiKey)).scalar_one():
                return None
        return self.add("first admin key")

    def revoke(self, key_id: str) -> None:
        """End a key at once."""
        with self._database.write() as session:
            found = session.execute(
                update(ApiKey)
                .where(ApiKey.id == key_id, ApiKey.revoked_at.is_(None))
                .values(revoked_at=self._database.now(session))
                .returning(ApiKey.id)
            ).first()
        if found is None:
            raise NotFound(say(NoteCode.NO_SUCH_KEY))

    def list(self, tenant_id: str | None = None) -> list[KeyFacts]:
        """Return the keys, oldest first: of one tenant, or all."""
        query = select(ApiKey).order_by(ApiKey.created_at, ApiKey.id)
        if tenant_id is not None:
            query = query.where(ApiKey.tenant_id == tenant_id)
        with self._database.read() as session:
            rows = session.scalars(query).all()
        return [_facts(row) for row in rows]

    def find(self, tenant_id: str, key_id: str) -> KeyFacts:
        """Return one key of a tenant, or raise ``NotFound``."""
        with self._database.read() as session:
            row = session.get(ApiKey, key_id)
        if row is None or row.tenant_id != tenant_id:
            raise NotFound()
        return _facts(row)

    def authenticate(self, text: str) -> Principal:
        """Return who holds this key, or raise :class:`Unauthenticated`."""
        parsed = parse_key(text)
        if parsed is None:
            raise Unauthenticated()
        key_id, secret = parsed
        with self._database.read() as session:
            row = session.get(ApiKey, key_id)
            now = self._database.now(session)
        stored = row.digest if row is not None else "0" * 64
        same = hmac.compare_digest(stored, _digest(secret))
        if row is None or not same or row.revoked_at is not None:
            raise Unauthenticated()
        if row.expires_at is not None and row.expires_at <= now:
            raise Unauthenticated(say(NoteCode.KEY_EXPIRED))
        if row.last_used_at is None or now - row.last_used_at >= _USED_GRAIN:
            with self._database.write() as session:
                session.execute(update(ApiKey).where(ApiKey.id == key_id).values(last_used_at=now))
        return Principal(row.id, row.tenant_id, frozenset(row.scopes))
