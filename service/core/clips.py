"""Clips in the database and the object store: kept once, erased wholly."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

from sqlalchemy import Select, delete, select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from models.contract.errors import NotFound, ObjectStoreUnavailable, QueueUnavailable
from service.core.access import Principal
from service.core.analyses import result_root
from service.core.database import Database
from service.core.identifiers import new_id
from service.core.intake import Received
from service.core.objects import Objects
from service.core.queue import WorkQueue
from service.core.tables import Analysis, Clip, Erasure, IdempotentReply


def incoming_key(clip_id: str) -> str:
    """Return the key callers send to directly. It is never read again once it was checked."""
    return f"clips/{clip_id}/incoming"


def clip_key(clip_id: str) -> str:
    """Return the object key of a clip. It holds no name or digest of the caller's."""
    return f"clips/{clip_id}/film"


@dataclass(frozen=True, slots=True)
class Stored:
    """A clip row, and whether it is a new one."""

    clip: Clip
    created: bool


class ClipStore:
    """Registers and erases clips.

    Parameters
    ----------
    sweep_s : float
        How long after an erasure a job may still write: the job's time limit and its lease.
    """

    def __init__(
        self, database: Database, objects: Objects, queue: WorkQueue, sweep_s: float
    ) -> None:
        self._database = database
        self._objects = objects
        self._queue = queue
        self._sweep = timedelta(seconds=sweep_s)

    def register(
        self,
        principal: Principal,
        clip_id: str,
        film: Received,
        external_ref: str | None = None,
    ) -> Stored:
        """Enter an uploaded film, or return the clip the same key already sent.

        When it was there before, the new object is removed again.
        """
        try:
            with self._database.write() as session:
                existing = session.scalars(_same(principal, film.sha256)).one_or_none()
                if existing is None:
                    clip = Clip(
                        id=clip_id,
                        tenant_id=principal.tenant_id,
                        api_key_id=principal.key_id,
                        created_at=self._database.now(session),
                        state="ready",
                        object_key=clip_key(clip_id),
                        media_type=film.media_type,
                        size_bytes=film.size_bytes,
                        sha256=film.sha256,
                        external_ref=external_ref,
                    )
                    session.add(clip)
                    session.flush()
                    return Stored(clip, created=True)
        except IntegrityError:  # the same film arrived twice at the same moment
            with self._database.read() as session:
                existing = session.scalars(_same(principal, film.sha256)).one()
        self._objects.delete(clip_key(clip_id))
        return Stored(existing, created=False)

    def announce(
        self,
        session: Session,
        principal: Principal,
        *,
        sha256: str,
        size_bytes: int,
        media_type: str,
        external_ref: str | None = None,
    ) -> Clip:
        """Enter a film that is about to be sent straight to the object store."""
        clip_id = new_id("clip")
        clip = Clip(
            id=clip_id,
            tenant_id=principal.tenant_id,
            api_key_id=principal.key_id,
            created_at=self._database.now(session),
            state="uploading",
            object_key=clip_key(clip_id),
            media_type=media_type,
            size_bytes=size_bytes,
            announced_sha256=sha256,
            external_ref=external_ref,
        )
        session.add(clip)
        session.flush()
        return clip

    def confirm(self, principal: Principal, clip_id: str, film: Received) -> Stored:
        """Make an announced clip ready, once its bytes were checked."""
        try:
            with self._database.write() as session:
                clip = session.scalars(
                    select(Clip)
                    .where(Clip.id == clip_id, Clip.tenant_id == principal.tenant_id)
                    .with_for_update()
                ).one_or_none()
                if clip is None:
                    raise NotFound()
                if clip.state == "ready":
                    return Stored(clip, created=False)
                clip.state = "ready"
                clip.sha256 = film.sha256
                clip.media_type = film.media_type
                session.flush()
                return Stored(clip, created=True)
        except IntegrityError:
            with self._database.read() as session:
                existing = session.scalars(_same(principal, film.sha256)).one()
            self.erase(principal, clip_id)
            return Stored(existing, created=False)

    def get(self, principal: Principal, clip_id: str) -> Clip:
        """Return a clip of this tenant, or raise ``NotFound``."""
        with self._database.read() as session:
            clip = session.scalars(
                select(Clip).where(Clip.id == clip_id, Clip.tenant_id == principal.tenant_id)
            ).one_or_none()
        if clip is None:
            raise NotFound()
        return clip

    def erase(self, principal: Principal, clip_id: str) -> bool:
        """Erase a clip and everything derived from it.

        Rows go first, in one transaction, so that running jobs lose their lease and cannot commit.
        Object prefixes are noted in that same transaction and swept again until no job can still
        be writing.

        Returns
        -------
        bool
            True when the objects are gone as well; False when the store did not answer and the
            sweep has to finish it.
        """
        with self._database.write() as session:
            clip = session.scalars(
                select(Clip)
                .where(Clip.id == clip_id, Clip.tenant_id == principal.tenant_id)
                .with_for_update()
            ).one_or_none()
            if clip is None:
                raise NotFound()
            now = self._database.now(session)
            rows = session.execute(
                select(Analysis.id, Analysis.attempt).where(Analysis.clip_id == clip_id)
            ).all()
            prefixes = [f"clips/{clip_id}", *(result_root(row.id) for row in rows)]
            for prefix in prefixes:
                session.add(Erasure(prefix=prefix, erased_at=now, sweep_until=now + self._sweep))
            gone = [clip_id, *(row.id for row in rows)]
            session.execute(delete(IdempotentReply).where(IdempotentReply.resource_id.in_(gone)))
            session.execute(delete(Clip).where(Clip.id == clip_id))  # the rest cascades
        self._database.checkpoint()
        for row in rows:
            try:
                self._queue.remove(row.id, row.attempt)
            except QueueUnavailable:  # the job finds no row and stops
                break
        try:
            for prefix in prefixes:
                self._objects.delete_prefix(prefix)
        except ObjectStoreUnavailable:
            return False
        return True


def _same(principal: Principal, sha256: str) -> Select[Clip]:
    return select(Clip).where(Clip.api_key_id == principal.key_id, Clip.sha256 == sha256)
