"""Direct uploads: the caller sends the film to the object store, then has it checked here."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from models.contract.errors import (
    ClipCompleteAlready,
    DigestMismatch,
    FilmNotArrived,
    NoDirectUpload,
    NotFound,
    ServewrightError,
)
from models.contract.note_codes import NoteCode, say
from service.core.clips import ClipStore, Stored, Then
from service.core.database import Database
from service.core.intake import PIECE_BYTES, Intake, Received
from service.core.multipart import MultipartUploads
from service.core.object_keys import clip_key, clip_root, incoming_key
from service.core.objects import ObjectMissing, Objects, PresignedUpload
from service.core.principal import Principal
from service.core.tables import Clip, Erasure


def forget_announced(database: Database, older_than: timedelta) -> int:
    """Erase clips that were announced and never completed; return how many.

    What may have been sent for them is swept from the store like that of any erased clip.
    """
    with database.write() as session:
        now = database.now(session)
        left = session.scalars(
            select(Clip).where(Clip.state == "uploading", Clip.created_at < now - older_than)
        ).all()
        for clip in left:
            prefix = clip_root(clip.tenant_id, clip.id)
            session.add(
                Erasure(prefix=prefix, tenant_id=clip.tenant_id, erased_at=now, sweep_until=now)
            )
            session.execute(delete(Clip).where(Clip.id == clip.id))
    return len(left)


class DirectUploads:
    """Plans and completes direct uploads."""

    def __init__(
        self,
        clips: ClipStore,
        objects: Objects,
        multipart: MultipartUploads,
        max_bytes: int,
        ttl_s: int,
    ) -> None:
        self._clips = clips
        self._multipart = multipart
        self._objects = objects
        self._max = max_bytes
        self._ttl = ttl_s

    def plan(self, clip: Clip) -> PresignedUpload:
        """Return how to send an announced film. A ``Conflict`` where that is not possible."""
        if clip.size_bytes is None or clip.state != "uploading":
            raise ClipCompleteAlready(about=clip.id)
        plan = self._objects.presign_upload(
            incoming_key(clip.tenant_id, clip.id), clip.media_type, clip.size_bytes, self._ttl
        )
        if plan is None:
            raise NoDirectUpload(about=clip.id)
        return plan

    def announce(
        self,
        session: Session,
        principal: Principal,
        *,
        sha256: str,
        size_bytes: int,
        media_type: str,
        external_ref: str | None,
        session_id: str | None = None,
        analyse: dict[str, Any] | None = None,
    ) -> Clip:
        """Enter the film in the caller's transaction."""
        return self._clips.announce(
            session,
            principal,
            sha256=sha256,
            size_bytes=size_bytes,
            media_type=media_type,
            external_ref=external_ref,
            session_id=session_id,
            analyse=analyse,
        )

    def complete(self, principal: Principal, clip_id: str, then: Then | None = None) -> Stored:
        """Check size and digest of what arrived and make the clip ready. ``then``: as in register.

        The bytes are copied while they are checked: the presigned form stays valid for a while,
        and what it can overwrite must not be what is analysed.
        """
        clip = self._clips.get(principal, clip_id)
        if clip.state == "ready":
            return Stored(clip, created=False)
        self._multipart.join(clip)
        try:
            received = self._checked(clip)
        except ObjectMissing:  # never arrived, erased, or just completed by another request
            clip = self._clips.get(principal, clip_id)
            if clip.state == "ready":
                return Stored(clip, created=False)
            raise FilmNotArrived(about=clip_id) from None
        try:
            stored = self._clips.confirm(principal, clip_id, received, then)
        except NotFound:  # erased while it was checked
            self._objects.delete_prefix(clip_root(clip.tenant_id, clip_id))
            raise
        # Only now: whoever finds it gone must find the clip ready.
        self._objects.delete(incoming_key(clip.tenant_id, clip_id))
        return stored

    def _checked(self, clip: Clip) -> Received:
        """Copy what arrived while checking it. Raises ``ObjectMissing`` when nothing is there."""
        key = incoming_key(clip.tenant_id, clip.id)
        info = self._objects.stat(key)
        if info.size_bytes != clip.size_bytes:
            self._objects.delete(key)
            raise DigestMismatch(
                say(NoteCode.BYTES_DIFFER, arrived=info.size_bytes, announced=clip.size_bytes or 0)
            )
        assert clip.announced_sha256 is not None
        intake = Intake(self._objects, clip_key(clip.tenant_id, clip.id), self._max)
        try:
            with self._objects.open(key) as stream:
                while piece := stream.read(PIECE_BYTES):
                    if intake.add(piece):
                        intake.flush()
            return intake.finish(frozenset({clip.announced_sha256}))
        except ServewrightError as error:
            if error.status < 500:
                self._objects.delete(key)
            raise
        finally:
            intake.abort()
