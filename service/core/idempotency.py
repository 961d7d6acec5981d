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

from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from models.contract.errors import Conflict, IdempotencyConflict
from models.contract.note_codes import NoteCode, say
from service.core.database import Database
from service.core.principal import Principal
from service.core.tables import IdempotentReply


@dataclass(frozen=True, slots=True)
class Reply:
    """What a request made. ``replayed``: an earlier one with this key made it."""

    resource_id: str
    replayed: bool


def fingerprint(body: Any) -> str:
    """Return the digest of a JSON-like body, independent of key order."""
    text = json.dumps(body, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()


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
        effect: Callable[[Session], str],
    ) -> Reply:
        """Run ``effect`` in a transaction, unless this key has already had it.

        Parameters
        ----------
        effect : callable
            Writes in the session it is given and returns the id of what it made.

        Raises
        ------
        IdempotencyConflict
            The key was used with another body.
        """
        if key is None:
            with self._database.write() as session:
                return Reply(effect(session), replayed=False)
        mark = fingerprint(body)
        where = (principal.key_id, route, key)
        for _ in range(3):
            try:
                with self._database.write() as session:
                    now = self._database.now(session)
                    earlier = session.get(IdempotentReply, where)
                    if earlier is not None and earlier.created_at >= now - self._ttl:
                        if earlier.fingerprint != mark:
                            raise IdempotencyConflict()
                        return Reply(earlier.resource_id, replayed=True)
                    if earlier is not None:
                        session.delete(earlier)
                        session.flush()
                    made = effect(session)
                    session.add(
                        IdempotentReply(
                            api_key_id=principal.key_id,
                            route=route,
                            key=key,
                            tenant_id=principal.tenant_id,
                            fingerprint=mark,
                            resource_id=made,
                            status=201,
                            created_at=now,
                        )
                    )
                return Reply(made, replayed=False)
            except IntegrityError:  # the same key at the same moment: the other one won
                continue
        raise Conflict(say(NoteCode.REQUEST_IN_PROGRESS))
