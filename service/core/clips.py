"""Clips in the database and the object store: kept once, erased wholly."""

from __future__ import annotations

import hashlib
import logging
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from sqlalchemy import Select, select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from models.contract.errors import FilmInOtherSession, ServewrightError, SessionErased
from service.core.database import Database
from service.core.erasure import Eraser
from service.core.idempotency import Created, Reply
from service.core.identifiers import new_id
from service.core.intake import Received
from service.core.material import find_clip
from service.core.object_keys import clip_key
from service.core.objects import ObjectMissing, Objects
from service.core.players import find_session
from service.core.principal import Principal
from service.core.quotas import Quotas
from service.core.tables import Clip
from service.core.usage import count

logger = logging.getLogger(__name__)

_PIECE = 1 << 20
"""Bytes that are read at a time."""


@dataclass(frozen=True, slots=True)
class Stored:
    """A clip row, and whether it is a new one.

    Attributes
    ----------
    status : int
        HTTP status of the answer.
    replayed : bool
        An earlier request with this Idempotency-Key was answered so.
    """

    clip: Clip
    created: bool
    status: int = 201
    replayed: bool = False


Once = Callable[[Callable[[Session], Created]], Reply]
Then = Callable[[Session, Clip], None]
"""What else is to happen in the transaction that a film comes in by."""


class ClipStore:
    """Registers and erases clips."""

    def __init__(
        self, database: Database, objects: Objects, eraser: Eraser, quotas: Quotas
    ) -> None:
        self._database = database
        self.quotas = quotas
        self._objects = objects
        self._eraser = eraser

    def register(
        self,
        principal: Principal,
        clip_id: str,
        film: Received,
        external_ref: str | None = None,
        session_id: str | None = None,
        once: Once | None = None,
        then: Then | None = None,
    ) -> Stored:
        """Enter an uploaded film, or return the clip the same key already sent.

        When it was there before, the new object is removed again, after it has replaced a stored
        film that is lost or no longer what was sent. A film that is in no session yet
        is filed under the one given; ``FilmInOtherSession`` is raised for one filed elsewhere.

        Parameters
        ----------
        once : callable or None
            Runs what it is given in a transaction, once an Idempotency-Key; None = each time.
        then : callable or None
            Is run in that transaction after the film was entered or found.
        """
        entered: Stored | None = None

        def enter(session: Session) -> Created:
            nonlocal entered
            entered = self._enter(session, principal, clip_id, film, external_ref, session_id)
            if then is not None:
                then(session, entered.clip)
            return Created(entered.clip.id, 201 if entered.created else 200)

        key = clip_key(principal.tenant_id, clip_id)
        try:
            if once is not None:
                reply = once(enter)
                if reply.replayed or entered is None:
                    entered = Stored(self.get(principal, reply.resource_id), created=False)
                    entered = replace(entered, status=reply.status, replayed=True)
            else:
                with self._database.write() as session:
                    enter(session)
        except ServewrightError:
            self._objects.delete(key)
            raise
        except IntegrityError:
            # The same film arrived twice, or the session was erased, at the same moment.
            with self._database.read() as session:
                existing = session.scalars(_same(principal, film.sha256)).one_or_none()
            entered = None if existing is None else Stored(existing, created=False, status=200)
        if entered is None or not entered.created:
            if entered is not None:
                self._heal(entered.clip, key, film)
            self._objects.delete(key)
        if entered is None:
            raise SessionErased(about=session_id or principal.session_id)
        return entered

    def _heal(self, clip: Clip, key: str, film: Received) -> None:
        """Put a film that was sent again in its place, unless the store still has it whole."""
        if clip.sha256 != film.sha256 or _digest(self._objects, clip.object_key) == film.sha256:
            return
        logger.warning("the film of %s was lost by the store; the one sent again heals it", clip.id)
        upload = self._objects.upload(clip.object_key, clip.media_type)
        try:
            with self._objects.open(key) as stream:
                while piece := stream.read(_PIECE):
                    upload.write(piece)
            upload.commit()
        finally:
            upload.abort()

    def _enter(
        self,
        session: Session,
        principal: Principal,
        clip_id: str,
        film: Received,
        external_ref: str | None,
        session_id: str | None,
    ) -> Stored:
        session_id = session_id or principal.session_id
        if session_id is not None:
            find_session(session, principal, session_id)
        existing = session.scalars(_same(principal, film.sha256)).one_or_none()
        if existing is not None:
            if session_id is not None:
                if existing.session_id not in (None, session_id):
                    raise FilmInOtherSession(about=existing.id)
                existing.session_id = session_id
            return Stored(existing, created=False, status=200)
        self.quotas.check_film(session, principal.tenant_id, film.size_bytes)
        now = self._database.now(session)
        clip = Clip(
            id=clip_id,
            tenant_id=principal.tenant_id,
            api_key_id=principal.key_id,
            created_at=now,
            state="ready",
            object_key=clip_key(principal.tenant_id, clip_id),
            media_type=film.media_type,
            size_bytes=film.size_bytes,
            sha256=film.sha256,
            metadata_state=film.metadata,
            external_ref=external_ref,
            session_id=session_id,
        )
        session.add(clip)
        session.flush()
        count(session, principal.tenant_id, now, films=1, bytes=film.size_bytes)
        return Stored(clip, created=True)

    def announce(
        self,
        session: Session,
        principal: Principal,
        *,
        sha256: str,
        size_bytes: int,
        media_type: str,
        external_ref: str | None = None,
        session_id: str | None = None,
        analyse: dict[str, Any] | None = None,
    ) -> Clip:
        """Enter a film that is about to be sent straight to the object store."""
        session_id = session_id or principal.session_id
        if session_id is not None:
            find_session(session, principal, session_id)
        self.quotas.check_film(session, principal.tenant_id, size_bytes)
        clip_id = new_id("clip")
        clip = Clip(
            id=clip_id,
            tenant_id=principal.tenant_id,
            api_key_id=principal.key_id,
            created_at=self._database.now(session),
            state="uploading",
            object_key=clip_key(principal.tenant_id, clip_id),
            media_type=media_type,
            size_bytes=size_bytes,
            announced_sha256=sha256,
            external_ref=external_ref,
            session_id=session_id,
            analyse=analyse,
        )
        session.add(clip)
        session.flush()
        return clip

    def confirm(
        self, principal: Principal, clip_id: str, film: Received, then: Then | None = None
    ) -> Stored:
        """Make an announced clip ready, once its bytes were checked. ``then``: as in register."""
        try:
            with self._database.write() as session:
                clip = find_clip(session, principal, clip_id, lock=True)
                if clip.state == "ready":
                    return Stored(clip, created=False)
                clip.state = "ready"
                clip.sha256 = film.sha256
                clip.media_type = film.media_type
                clip.metadata_state = film.metadata
                session.flush()
                now = self._database.now(session)
                if then is not None:
                    then(session, clip)
                count(session, clip.tenant_id, now, films=1, bytes=film.size_bytes)
                return Stored(clip, created=True)
        except IntegrityError:
            with self._database.read() as session:
                existing = session.scalars(_same(principal, film.sha256)).one()
            self._heal(existing, clip_key(principal.tenant_id, clip_id), film)
            self._eraser.carry_out(self._eraser.clip(principal, clip_id))
            return Stored(existing, created=False)

    def get(self, principal: Principal, clip_id: str) -> Clip:
        """Return a clip of this tenant, or raise ``NotFound``."""
        with self._database.read() as session:
            return find_clip(session, principal, clip_id)


def _digest(objects: Objects, key: str) -> str | None:
    """Return the SHA-256 of a stored object; None when it is missing."""
    found = hashlib.sha256()
    try:
        with objects.open(key) as stream:
            while piece := stream.read(_PIECE):
                found.update(piece)
    except ObjectMissing:
        return None
    return found.hexdigest()


def _same(principal: Principal, sha256: str) -> Select[Clip]:
    return select(Clip).where(Clip.api_key_id == principal.key_id, Clip.sha256 == sha256)
