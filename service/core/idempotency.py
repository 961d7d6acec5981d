"""Replies of unsafe requests that carried an Idempotency-Key (IETF httpapi draft, revision 07).

The record is written in the transaction of its effect, so a crash between commit and reply is
harmless: the repeat finds the record. It holds ids only.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from sqlalchemy import delete
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from models.contract.errors import IdempotencyConflict, RequestInProgress
from service.core.database import Database
from service.core.principal import Principal
from service.core.reach import Reach
from service.core.tables import IdempotentReply

TRIES = 5
"""Tries to enter a record. One loses only to another that was committed, and finds that next; more
are needed only when records end in between (working value)."""


@dataclass(frozen=True, slots=True)
class Created:
    """What an effect made, and the HTTP status it is answered with."""

    resource_id: str
    status: int = 201


@dataclass(frozen=True, slots=True)
class Reply:
    """What a request made. ``replayed``: an earlier one with this key made it."""

    resource_id: str
    replayed: bool
    status: int = 201


ADDED: dict[str, dict[str, Any]] = {
    "": {"role": "player", "voice_id": None, "same_serve": None},
    "options": {"faces": "shown", "rules_id": None},
    "analyse": {"faces": "shown", "rules_id": None},
    "first": {"model": None},
    "second": {"model": None},
}
"""Members that bodies, or objects in them, did not have before, with their defaults. Left out of
the digest where they say nothing else, so that a key used before an upgrade still replays its
reply."""


def fingerprint(body: Any) -> str:
    """Return the digest of a JSON-like body, independent of key order."""
    if isinstance(body, dict):
        body = {key: _as_before(one, key) for key, one in _as_before(body, "").items()}
    text = json.dumps(body, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()


def _as_before(part: Any, name: str) -> Any:
    added = ADDED.get(name)
    if added is None or not isinstance(part, dict):
        return part
    return {k: one for k, one in part.items() if k not in added or added[k] != one}


class Idempotency:
    """Makes the effect of a request happen once a key.

    Parameters
    ----------
    ttl_h : float
        Hours after which a key may be used anew.
    """

    def __init__(self, database: Database, ttl_h: float) -> None:
        self._database = database
        self._ttl = timedelta(hours=ttl_h)

    def once(
        self,
        principal: Principal,
        route: str,
        key: str | None,
        body: Any,
        effect: Callable[[Session], Created | str],
        reach: Reach | None = None,
    ) -> Reply:
        """Run ``effect`` in a transaction, unless this key has already had it.

        The record is entered first: of several requests with one key at the same moment the
        others wait there, whatever the effect would collide with, and are answered like the first.

        Parameters
        ----------
        effect : callable
            Writes in the session it is given and returns the id of what it made.
        reach : Reach or None
            What the effect may write; None = what the caller of this request may.

        Raises
        ------
        IdempotencyConflict
            The key was used with another body.
        """
        if key is None:
            with self._database.write(reach) as session:
                made = _made(effect(session))
                return Reply(made.resource_id, replayed=False, status=made.status)
        mark = fingerprint(body)
        where = (principal.key_id, route, key)
        for _ in range(TRIES):
            try:
                with self._database.write(reach) as session:
                    now = self._database.now(session)
                    earlier = session.get(IdempotentReply, where)
                    if earlier is not None and earlier.created_at >= now - self._ttl:
                        if earlier.fingerprint != mark:
                            raise IdempotencyConflict()
                        return Reply(earlier.resource_id, replayed=True, status=earlier.status)
                    if earlier is not None:
                        session.delete(earlier)
                        session.flush()
                    record = IdempotentReply(
                        api_key_id=principal.key_id,
                        route=route,
                        key=key,
                        tenant_id=principal.tenant_id,
                        fingerprint=mark,
                        resource_id="",
                        status=201,
                        created_at=now,
                    )
                    session.add(record)
                    session.flush()
                    made = _made(effect(session))
                    record.resource_id, record.status = made.resource_id, made.status
                return Reply(made.resource_id, replayed=False, status=made.status)
            except IntegrityError:  # the same key at the same moment: the other one won
                continue
        raise RequestInProgress(about=key)


def forget_replies(session: Session, resource_ids: list[str]) -> None:
    """Forget what made resources that go: a repeat then makes them anew."""
    session.execute(delete(IdempotentReply).where(IdempotentReply.resource_id.in_(resource_ids)))


def _made(found: Created | str) -> Created:
    return Created(found) if isinstance(found, str) else found
