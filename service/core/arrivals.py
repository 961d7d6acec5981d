"""Makes a clip of an upload whose parts are all here, by the way that every film comes in, and
starts its analysis where that was asked for.
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from datetime import timedelta
from typing import Any

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from models.contract.errors import NotFound, QueueUnavailable, QuotaExceeded, ServewrightError
from models.contract.problem import Problem
from models.contract.vocabulary import WorkKind
from service.core.clips import ClipStore, Then
from service.core.database import Database
from service.core.idempotency import Created, Reply
from service.core.identifiers import new_id
from service.core.intake import PIECE_BYTES, Intake, Received
from service.core.object_keys import clip_key
from service.core.objects import ObjectMissing, Objects
from service.core.players import PlayerStore
from service.core.principal import Principal
from service.core.queue import WorkQueue
from service.core.requests import WorkRequests
from service.core.resumable import ResumableUploads, find_upload
from service.core.tables import Clip, Consent, IntakeLink, ResumableUpload, UploadPiece, Work

logger = logging.getLogger(__name__)
LEFT_ALONE = timedelta(minutes=15)
"""So long after its last byte nobody is at work on an upload any more (working value): reading
1 GB back takes seconds from a disk, minutes from a slow bucket."""


class Arrivals:
    """Finishes uploads."""

    def __init__(
        self,
        database: Database,
        objects: Objects,
        uploads: ResumableUploads,
        clips: ClipStore,
        players: PlayerStore,
        requests: WorkRequests,
        queue: WorkQueue,
    ) -> None:
        self._database = database
        self._objects = objects
        self._uploads = uploads
        self._clips = clips
        self._players = players
        self._requests = requests
        self._queue = queue

    def analysing(
        self, principal: Principal, options: dict[str, Any] | None, started: list[Work]
    ) -> Then | None:
        """Return what enters the analysis of a film with the film; None where none is wanted.

        Parameters
        ----------
        started : list
            The work is put here; :meth:`send` it after the commit.
        """
        if options is None:
            return None

        def then(session: Session, clip: Clip) -> None:
            work = self._requests.analysis_on_arrival(session, principal, clip, options)
            if work is not None:
                started.append(work)

        return then

    def analysis_of(self, clip_id: str) -> str | None:
        """Return the first analysis of a clip: the one it was started with, if it was."""
        with self._database.read() as session:
            return session.scalars(
                select(Work.id)
                .where(Work.clip_id == clip_id, Work.kind == WorkKind.ANALYSIS)
                .order_by(Work.created_at, Work.id)
                .limit(1)
            ).one_or_none()

    def send(self, started: list[Work]) -> None:
        """Send work to the queue that was entered with a film."""
        for work in started:
            try:
                self._queue.enqueue(work.id, work.attempt)
            except QueueUnavailable:  # accepted all the same: the reconciler sends it
                logger.warning("queue unavailable; %s waits for the reconciler", work.id)

    def finish(self, principal: Principal, upload: ResumableUpload) -> ResumableUpload:
        """Make the clip, unless it is there already, and return the upload as it stands then.

        Raises
        ------
        ServewrightError
            The film is refused for good (no film, damaged, elsewhere already), which the upload
            then says; or it cannot come in now (a quota, the store), and may be tried again.
        """
        if upload.finished_at is not None:
            return upload
        clip_id = new_id("clip")
        started: list[Work] = []
        try:
            film = self._assemble(upload, clip_id)
            session_id = upload.session_id or self._session_of(principal, upload)
            self._clips.register(
                principal,
                clip_id,
                film,
                upload.external_ref,
                session_id,
                self._once(principal, upload),
                self._then(principal, upload, started),
            )
        except ServewrightError as error:
            present = self._uploads.get(principal, upload.id, None)
            if present.clip_id is not None:  # another request has just finished it
                return present
            if error.status < 500 and not isinstance(error, QuotaExceeded | NotFound):
                self.refuse(upload, error)
            raise
        present = self._uploads.get(principal, upload.id, None)
        if present.clip_id is None:  # the same film came by another way at the same moment
            return self.finish(principal, upload)
        self.send(started)
        self._uploads.clear(upload)
        return present

    def finish_left(self) -> int:
        """Finish uploads whose last request was cut after its bytes had arrived."""
        left = self._uploads.complete_but_unfinished(LEFT_ALONE)
        for upload in left:
            principal = Principal(
                upload.api_key_id, upload.tenant_id, frozenset(), session_id=upload.session_id
            )
            try:
                self.finish(principal, upload)
            except ServewrightError as error:
                logger.warning("%s is complete and could not come in: %s", upload.id, error.code)
        return len(left)

    def refuse(self, upload: ResumableUpload, error: ServewrightError) -> None:
        """End an upload whose film cannot come in, and say why on it."""
        with self._database.write() as session:
            row = session.scalars(
                select(ResumableUpload).where(ResumableUpload.id == upload.id).with_for_update()
            ).one_or_none()
            if row is None or row.clip_id is not None:
                return
            row.finished_at = self._database.now(session)
            row.problem = Problem.of(error, instance=f"/v1/uploads/{row.id}").model_dump(
                mode="json"
            )
            session.execute(delete(UploadPiece).where(UploadPiece.upload_id == row.id))
        self._uploads.clear(upload)

    def _assemble(self, upload: ResumableUpload, clip_id: str) -> Received:
        place = clip_key(upload.tenant_id, clip_id)
        intake = Intake(self._objects, place, self._uploads.max_bytes)
        try:
            for piece in self._uploads.pieces(upload):
                with self._objects.open(piece.object_key) as stream:
                    while data := stream.read(PIECE_BYTES):
                        if intake.add(data):
                            intake.flush()
            return intake.finish(frozenset(filter(None, (upload.sha256,))))
        except ObjectMissing:  # another request has just finished it, or it was erased
            raise NotFound() from None
        finally:
            intake.abort()

    def _session_of(self, principal: Principal, upload: ResumableUpload) -> str | None:
        """Return the session of a visit through a player's link, made when its first film is in."""
        if upload.consent_id is None or upload.player_id is None:
            return None
        with self._database.write() as session:
            consent = session.scalars(
                select(Consent).where(Consent.id == upload.consent_id).with_for_update()
            ).one_or_none()
            if consent is None:
                raise NotFound()
            if consent.session_id is None:
                link = session.get_one(IntakeLink, consent.link_id)
                values = {"kind": link.session_kind, "filmed_at": self._database.now(session)}
                filmed = self._players.create_session(session, principal, upload.player_id, values)
                consent.session_id = filmed.id
            return consent.session_id

    def _once(
        self, principal: Principal, upload: ResumableUpload
    ) -> Callable[[Callable[[Session], Created]], Reply]:
        """Return what enters the film and ends the upload in one transaction, once."""

        def once(enter: Callable[[Session], Created]) -> Reply:
            with self._database.write() as session:
                row = find_upload(session, principal, upload.id, lock=True)
                if row.clip_id is not None:
                    return Reply(row.clip_id, replayed=True)
                row.finished_at = self._database.now(session)  # no longer counts as coming
                session.flush()
                made = enter(session)
                row.clip_id = made.resource_id
                session.execute(delete(UploadPiece).where(UploadPiece.upload_id == row.id))
                return Reply(made.resource_id, replayed=False, status=made.status)

        return once

    def _then(
        self, principal: Principal, upload: ResumableUpload, started: list[Work]
    ) -> Then | None:
        """Return what starts the analysis: a film is not lost because work has a limit."""
        enter = self.analysing(principal, upload.analyse, started)
        if enter is None:
            return None

        def then(session: Session, clip: Clip) -> None:
            try:
                enter(session, clip)
            except QuotaExceeded as error:
                row = find_upload(session, principal, upload.id)
                row.problem = Problem.of(error).model_dump(mode="json")

        return then
