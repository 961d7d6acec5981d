"""Uploads that can be resumed: a film arrives in parts, each kept as soon as it is there.

Bytes lie in the object store as pieces; a row a piece says which of them count. A piece is counted
only where the upload still stands at its first byte, so of two requests that send the same part one
loses, whatever the store did. What makes a clip of all pieces: :mod:`service.core.arrivals`.
"""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from models.contract.errors import (
    ClipTooLarge,
    NotFound,
    ObjectStoreUnavailable,
    UploadGone,
    UploadOffsetMismatch,
)
from models.contract.note_codes import NoteCode, say
from service.core.database import Database
from service.core.idempotency import forget_replies
from service.core.identifiers import new_id
from service.core.object_keys import upload_root
from service.core.objects import Objects
from service.core.players import find_session
from service.core.principal import Principal
from service.core.quotas import Quotas
from service.core.tables import Erasure, ResumableUpload, UploadPiece

ANY = "application/octet-stream"
SWEEP = timedelta(hours=1)
"""A request that was under way may still write a piece of an upload that has ended."""


@dataclass(frozen=True, slots=True)
class ExpectedFilm:
    """What is said of a film before it arrives.

    Attributes
    ----------
    length : int
        Its size, bytes.
    analyse : dict or None
        Options of the analysis to start when it is in; None = none.
    """

    length: int
    sha256: str | None = None
    external_ref: str | None = None
    session_id: str | None = None
    analyse: dict[str, Any] | None = None
    link_id: str | None = None
    consent_id: str | None = None


@dataclass(frozen=True, slots=True)
class Piece:
    """Bytes that lie in the object store but do not count yet."""

    first: int
    length: int
    object_key: str


class ResumableUploads:
    """Begins, continues and ends uploads.

    Parameters
    ----------
    max_bytes : int
        Largest film.
    kept : timedelta
        How long an unfinished upload waits for more.
    """

    def __init__(
        self,
        database: Database,
        objects: Objects,
        quotas: Quotas,
        max_bytes: int,
        kept: timedelta,
    ) -> None:
        self._database = database
        self._objects = objects
        self._quotas = quotas
        self.max_bytes = max_bytes
        self._kept = kept

    def create(
        self, session: Session, principal: Principal, wanted: ExpectedFilm
    ) -> ResumableUpload:
        """Enter an upload in the caller's transaction, provided that its film may come in."""
        if wanted.length > self.max_bytes:
            raise ClipTooLarge(say(NoteCode.FILE_TOO_LARGE, limit=self.max_bytes))
        session_id = wanted.session_id or principal.session_id
        player_id = principal.player_id
        if session_id is not None:
            player_id = find_session(session, principal, session_id).player_id
        self._quotas.check_film(session, principal.tenant_id, wanted.length)
        now = self._database.now(session)
        row = ResumableUpload(
            id=new_id("upl"),
            tenant_id=principal.tenant_id,
            api_key_id=principal.key_id,
            link_id=wanted.link_id,
            consent_id=wanted.consent_id,
            player_id=player_id,
            session_id=session_id,
            created_at=now,
            updated_at=now,
            expires_at=now + self._kept,
            length=wanted.length,
            received=0,
            sha256=wanted.sha256,
            external_ref=wanted.external_ref,
            analyse=wanted.analyse,
        )
        session.add(row)
        session.flush()
        return row

    def get(self, principal: Principal, upload_id: str, link_id: str | None) -> ResumableUpload:
        """Return an upload; one of a link through that link alone. Raises ``NotFound``."""
        with self._database.read() as session:
            return find_upload(session, principal, upload_id, link_id)

    def open(self, principal: Principal, upload_id: str, link_id: str | None) -> ResumableUpload:
        """Return an upload that is not over. Raises ``NotFound`` or ``UploadGone``."""
        with self._database.read() as session:
            row = find_upload(session, principal, upload_id, link_id)
            waited = row.finished_at is None and row.expires_at <= self._database.now(session)
        if waited or (row.finished_at is not None and row.clip_id is None):
            raise UploadGone()
        return row

    def put(self, row: ResumableUpload, first: int, data: bytes) -> Piece:
        """Write bytes into the store. They count once they are :meth:`kept`. Blocks."""
        root = upload_root(row.tenant_id, row.id)
        key = f"{root}/{first:016d}-{secrets.token_hex(4)}"
        self._objects.put_bytes(key, data, ANY)
        return Piece(first, len(data), key)

    def keep(self, row: ResumableUpload, pieces: Sequence[Piece]) -> ResumableUpload:
        """Count pieces, which follow each other, and return the upload as it stands then.

        Raises
        ------
        UploadOffsetMismatch
            The upload does not stand where they begin; they are removed.
        NotFound
            It was erased meanwhile; they are removed.
        """
        try:
            with self._database.write() as session:
                found = session.scalars(
                    select(ResumableUpload).where(ResumableUpload.id == row.id).with_for_update()
                ).one_or_none()
                if found is None:
                    raise NotFound()
                check_offset(found, pieces[0].first)
                for piece in pieces:
                    session.add(
                        UploadPiece(
                            upload_id=found.id,
                            first=piece.first,
                            tenant_id=found.tenant_id,
                            length=piece.length,
                            object_key=piece.object_key,
                        )
                    )
                    found.received += piece.length
                found.updated_at = self._database.now(session)
                found.expires_at = found.updated_at + self._kept
                return found
        except (NotFound, UploadOffsetMismatch):
            self.drop(pieces)
            raise

    def drop(self, pieces: Sequence[Piece]) -> None:
        """Remove bytes that are not to count. What cannot be removed now ends with the upload."""
        try:
            for piece in pieces:
                self._objects.delete(piece.object_key)
        except ObjectStoreUnavailable:
            return

    def pieces(self, row: ResumableUpload) -> list[UploadPiece]:
        """Return the pieces that count, in order."""
        with self._database.read() as session:
            found = select(UploadPiece).where(UploadPiece.upload_id == row.id)
            return list(session.scalars(found.order_by(UploadPiece.first)))

    def end(self, principal: Principal, upload_id: str, link_id: str | None) -> None:
        """Give an upload up. One that has become a clip stays as it is, as the record of that."""
        with self._database.write() as session:
            row = find_upload(session, principal, upload_id, link_id, lock=True)
            if row.clip_id is not None:
                return
            _forget(session, self._database, row)
        self.clear(row)

    def clear(self, row: ResumableUpload) -> None:
        """Remove all bytes of an upload; the sweep does it where the store does not answer."""
        try:
            self._objects.delete_prefix(upload_root(row.tenant_id, row.id))
        except ObjectStoreUnavailable:
            return

    def forget_abandoned(self) -> int:
        """Erase uploads that waited too long, and refused ones after as long; return how many."""
        with self._database.write() as session:
            now = self._database.now(session)
            left = session.scalars(
                select(ResumableUpload).where(
                    ResumableUpload.clip_id.is_(None), ResumableUpload.expires_at < now
                )
            ).all()
            for row in left:
                _forget(session, self._database, row)
        return len(left)

    def complete_but_unfinished(self, older_than: timedelta) -> list[ResumableUpload]:
        """Return uploads whose bytes are all here, but whose last request ended too early."""
        with self._database.read() as session:
            limit = self._database.now(session) - older_than
            found = select(ResumableUpload).where(
                ResumableUpload.finished_at.is_(None),
                ResumableUpload.received == ResumableUpload.length,
                ResumableUpload.updated_at < limit,
            )
            return list(session.scalars(found))


def find_upload(
    session: Session,
    principal: Principal,
    upload_id: str,
    link_id: str | None = None,
    *,
    lock: bool = False,
) -> ResumableUpload:
    """Return an upload of this tenant (through a link: of that link), or raise ``NotFound``."""
    query = select(ResumableUpload).where(
        ResumableUpload.id == upload_id, ResumableUpload.tenant_id == principal.tenant_id
    )
    if link_id is not None:
        query = query.where(ResumableUpload.link_id == link_id)
    row = session.scalars(query.with_for_update() if lock else query).one_or_none()
    if row is None:
        raise NotFound()
    return row


def check_offset(row: ResumableUpload, first: int) -> None:
    """Raise unless the next part of an upload begins there."""
    if row.finished_at is not None or row.received != first:
        raise UploadOffsetMismatch(about=row.id, headers={"upload-offset": str(row.received)})


def _forget(session: Session, database: Database, row: ResumableUpload) -> None:
    """Delete the rows of an upload and have its bytes swept."""
    now = database.now(session)
    session.merge(
        Erasure(
            prefix=upload_root(row.tenant_id, row.id),
            tenant_id=row.tenant_id,
            erased_at=now,
            sweep_until=now + SWEEP,
        )
    )
    forget_replies(session, [row.id])
    session.execute(delete(ResumableUpload).where(ResumableUpload.id == row.id))
