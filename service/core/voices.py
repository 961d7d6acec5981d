"""Voice messages of a coach for a player: private files, kept until they or the player go."""

from __future__ import annotations

import hashlib
from contextlib import suppress

from sqlalchemy import select
from sqlalchemy.orm import Session

from models.contract.errors import DependencyError, Forbidden, InvalidRequest, NotFound
from models.contract.note_codes import NoteCode, say
from service.core.database import Database
from service.core.idempotency import forget_replies
from service.core.identifiers import new_id
from service.core.object_keys import voice_root
from service.core.objects import Objects
from service.core.players import find_player
from service.core.principal import Principal
from service.core.tables import Voice


class Voices:
    """Keeps voice files. They do not change: send another instead."""

    def __init__(self, database: Database, objects: Objects) -> None:
        self._database = database
        self._objects = objects

    def store(self, principal: Principal, player_id: str, media_type: str, data: bytes) -> Voice:
        """Write a file that a row is entered for afterwards; return that row, not yet entered.

        A file without a row is removed by the sweep of orphans.
        """
        with self._database.read() as session:
            find_player(session, principal, player_id)
        if principal.session_id is not None:  # it is for the player, beyond that session
            raise Forbidden(say(NoteCode.KEY_OF_ONE_SESSION))
        voice_id = new_id("voc")
        key = f"{voice_root(principal.tenant_id, voice_id)}/voice"
        self._objects.put_bytes(key, data, media_type)
        return Voice(
            id=voice_id,
            tenant_id=principal.tenant_id,
            player_id=player_id,
            object_key=key,
            media_type=media_type,
            size_bytes=len(data),
            sha256=hashlib.sha256(data).hexdigest(),
        )

    def enter(self, session: Session, row: Voice) -> str:
        """Enter the row of a stored file in the caller's transaction; return its id."""
        row.created_at = self._database.now(session)
        session.add(row)
        session.flush()
        return row.id

    def discard(self, row: Voice) -> None:
        """Remove a stored file that got no row."""
        with suppress(DependencyError):
            self._objects.delete(row.object_key)

    def get(self, principal: Principal, player_id: str, voice_id: str) -> Voice:
        """Return a voice message of a player, or raise ``NotFound``."""
        with self._database.read() as session:
            return self._find(session, principal, player_id, voice_id)

    def delete(self, principal: Principal, player_id: str, voice_id: str) -> None:
        """Remove a voice message. Pages that hold it stay as they are."""
        row = self.get(principal, player_id, voice_id)
        self._objects.delete(row.object_key)  # first: a row without a file can be deleted again
        with self._database.write() as session:
            session.delete(self._find(session, principal, player_id, voice_id))
            forget_replies(session, [voice_id])

    @staticmethod
    def _find(session: Session, principal: Principal, player_id: str, voice_id: str) -> Voice:
        row = session.scalars(
            select(Voice).where(
                Voice.id == voice_id,
                Voice.tenant_id == principal.tenant_id,
                Voice.player_id == player_id,
            )
        ).one_or_none()
        if row is None:
            raise NotFound()
        return row


def voice_for(
    session: Session, principal: Principal, voice_id: str | None, players: set[str]
) -> dict[str, str] | None:
    """Return where the voice message of a request lies, as its worker needs it.

    Raises
    ------
    NotFound
        There is no such message.
    InvalidRequest
        It is for a player whom the document is not about.
    """
    if voice_id is None:
        return None
    row = session.get(Voice, voice_id)
    if row is None or row.tenant_id != principal.tenant_id:
        raise NotFound(say(NoteCode.NO_SUCH_VOICE))
    if row.player_id not in players:
        raise InvalidRequest(say(NoteCode.VOICE_OF_ANOTHER), pointer="/voice_id")
    return {"id": row.id, "key": row.object_key, "media_type": row.media_type}
