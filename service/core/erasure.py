"""Erasing: a clip, a session, a player or a piece of work, with all that hangs on it.

Rows go first, in one transaction, so that running jobs lose their lease and cannot commit. Object
prefixes are noted in that same transaction, with a receipt; files go afterwards, and are swept
again until no job can still be writing (:mod:`service.core.sweep`).
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable
from datetime import timedelta

from sqlalchemy import ColumnElement, delete, or_, select
from sqlalchemy.orm import Session

from models.contract.errors import (
    DatabaseUnavailable,
    Forbidden,
    NotFound,
    ObjectStoreUnavailable,
    QueueUnavailable,
)
from models.contract.note_codes import NoteCode, say
from service.core.consents import find_consent
from service.core.database import Database
from service.core.idempotency import forget_replies
from service.core.identifiers import new_id
from service.core.kinds import KINDS, kind_of
from service.core.material import find_clip
from service.core.object_keys import clip_root, upload_root, voice_root
from service.core.objects import Objects
from service.core.players import find_player, find_session
from service.core.principal import Principal
from service.core.queue import WorkQueue
from service.core.reach import whole_organisation
from service.core.receipts import Receipts
from service.core.tables import (
    Clip,
    Consent,
    Erasure,
    ErasureReceipt,
    FilmedSession,
    OutboxEvent,
    Player,
    ResumableUpload,
    Voice,
    Work,
    WorkInput,
)

logger = logging.getLogger(__name__)


class Eraser:
    """Erases wholly.

    Every method but :meth:`carry_out` erases the rows and returns what that takes next.
    ``unless_changed(row)`` may raise when the row is not as expected.

    Parameters
    ----------
    sweep_s : float
        How long after an erasure a job may still write: the job's time limit and its lease.
    """

    def __init__(
        self,
        database: Database,
        objects: Objects,
        queue: WorkQueue,
        receipts: Receipts,
        sweep_s: float,
    ) -> None:
        self._database = database
        self._receipts = receipts
        self._objects = objects
        self._queue = queue
        self._sweep = timedelta(seconds=sweep_s)

    def clip(
        self,
        principal: Principal,
        clip_id: str,
        unless_changed: Callable[[Clip], None] = lambda row: None,
    ) -> RowsErased:
        """Erase a clip and everything derived from it."""
        with self._database.write() as session:
            unless_changed(find_clip(session, principal, clip_id, lock=True))
            with whole_organisation(session):
                gone = self._clips(session, RowsErased(principal, clip_id, [clip_id]))
        return gone

    def session(
        self,
        principal: Principal,
        player_id: str,
        session_id: str,
        unless_changed: Callable[[FilmedSession], None] = lambda row: None,
    ) -> RowsErased:
        """Erase a session, its clips and everything derived from them."""
        with self._database.write() as session:
            unless_changed(find_session(session, principal, session_id, player_id, lock=True))
            with whole_organisation(session):
                clips = session.scalars(select(Clip.id).where(Clip.session_id == session_id)).all()
                visits = select(Consent.id).where(Consent.session_id == session_id)
                coming = or_(
                    ResumableUpload.session_id == session_id, ResumableUpload.consent_id.in_(visits)
                )
                gone = RowsErased(principal, session_id, clips)
                self._clips(session, gone, coming=coming)
                forget_replies(session, [session_id])
                session.execute(  # its dates came from the sessions; written anew if still due
                    delete(OutboxEvent).where(OutboxEvent.player_id == player_id)
                )
                session.execute(delete(FilmedSession).where(FilmedSession.id == session_id))
        return gone

    def player(
        self,
        principal: Principal,
        player_id: str,
        unless_changed: Callable[[Player], None] = lambda row: None,
    ) -> RowsErased:
        """Erase a player, the sessions, their clips and everything derived from them."""
        with self._database.write() as session:
            unless_changed(find_player(session, principal, player_id, lock=True))
            if principal.session_id is not None:  # the player is more than that session
                raise Forbidden(say(NoteCode.KEY_OF_ONE_SESSION))
            with whole_organisation(session):
                sessions = session.scalars(
                    select(FilmedSession.id).where(FilmedSession.player_id == player_id)
                ).all()
                clips = session.scalars(select(Clip.id).where(Clip.session_id.in_(sessions))).all()
                gone = RowsErased(principal, player_id, clips)
                gone.voices = list(
                    session.scalars(select(Voice.id).where(Voice.player_id == player_id))
                )
                coming = ResumableUpload.player_id == player_id
                self._clips(session, gone, player_id, coming)
                forget_replies(session, [player_id, *sessions, *gone.voices])
                session.execute(delete(Player).where(Player.id == player_id))
        return gone

    def consent(self, principal: Principal, player_id: str, consent_id: str) -> RowsErased:
        """Withdraw a consent: erase the player's films and everything made from them.

        Player, sessions and consents stay, the withdrawn one with the time of it.
        """
        with self._database.write() as session:
            find_player(session, principal, player_id, lock=True)
            if principal.session_id is not None:  # it covers more than that session
                raise Forbidden(say(NoteCode.KEY_OF_ONE_SESSION))
            row = find_consent(session, player_id, consent_id)
            row.withdrawn_at = row.withdrawn_at or self._database.now(session)
            with whole_organisation(session):
                sessions = select(FilmedSession.id).where(FilmedSession.player_id == player_id)
                clips = session.scalars(select(Clip.id).where(Clip.session_id.in_(sessions))).all()
                gone = RowsErased(principal, consent_id, clips)
                coming = or_(
                    ResumableUpload.player_id == player_id, ResumableUpload.session_id.in_(sessions)
                )
                self._clips(session, gone, player_id, coming)
                session.execute(  # its dates and files came from the films
                    delete(OutboxEvent).where(OutboxEvent.player_id == player_id)
                )
        return gone

    def work(self, principal: Principal, work_id: str) -> RowsErased:
        """Erase a piece of work, its results and everything made from them."""
        with self._database.write() as session:
            row = session.scalars(
                select(Work)
                .where(Work.id == work_id, Work.tenant_id == principal.tenant_id)
                .with_for_update()
            ).one_or_none()
            if row is None:
                raise NotFound()
            with whole_organisation(session):
                gone = RowsErased(principal, work_id)
                self._work(session, gone, Work.id == row.id)
                self._rows(session, gone)
        return gone

    def _clips(
        self,
        session: Session,
        gone: RowsErased,
        player_id: str | None = None,
        coming: ColumnElement[bool] | None = None,
    ) -> RowsErased:
        """Delete the rows of clips and of all that was derived from them, uploads included.

        Parameters
        ----------
        coming : condition or None
            Which uploads go that have not become a clip.
        """
        gone.note_uploads(session, coming)
        doomed = or_(Work.clip_id.in_(gone.clips), Work.same_serve_id.in_(gone.clips))
        if player_id is not None:
            doomed = or_(doomed, Work.player_id == player_id)
        self._work(session, gone, doomed)
        self._rows(session, gone)
        return gone

    def _work(self, session: Session, gone: RowsErased, doomed: ColumnElement[bool]) -> None:
        """Note work, what was made from it, what was made from that, and so on."""
        while found := [
            row
            for row in session.execute(select(Work.id, Work.attempt).where(doomed))
            if row.id not in gone.work
        ]:
            gone.work |= {row.id: row.attempt for row in found}
            made_from = select(WorkInput.work_id).where(
                WorkInput.input_id.in_([row.id for row in found])
            )
            doomed = Work.id.in_(made_from)

    def _rows(self, session: Session, gone: RowsErased) -> None:
        now = self._database.now(session)
        gone.receipt = ErasureReceipt(
            id=new_id("era"),
            tenant_id=gone.tenant_id,
            created_at=now,
            subject_id=gone.subject_id,
            player_id=gone.player_id,
            clips=len(gone.clips),
            work=len(gone.work),
            files=0,
        )
        session.add(gone.receipt)
        session.flush()
        for prefix in gone.prefixes:
            session.merge(
                Erasure(
                    prefix=prefix,
                    receipt_id=gone.receipt.id,
                    tenant_id=gone.tenant_id,
                    erased_at=now,
                    sweep_until=now + self._sweep,
                )
            )
        forget_replies(session, [*gone.clips, *gone.uploads, *gone.work])
        session.execute(delete(Work).where(Work.id.in_(list(gone.work))))
        session.execute(delete(Clip).where(Clip.id.in_(gone.clips)))  # the rest cascades
        session.execute(delete(ResumableUpload).where(ResumableUpload.id.in_(gone.uploads)))
        left = select(ResumableUpload.consent_id).where(ResumableUpload.consent_id.is_not(None))
        session.execute(  # given for these films alone
            delete(Consent).where(
                Consent.id.in_(gone.consents),
                Consent.id.not_in(left),
                Consent.withdrawn_at.is_(None),
            )
        )

    def carry_out(self, gone: RowsErased) -> None:
        """Take what was erased out of queue and object store; the sweep finishes what this cannot.

        It takes as long as the store takes: call it after the answer was given.
        """
        for work_id, attempt in gone.work.items():
            try:
                self._queue.remove(work_id, attempt)
            except QueueUnavailable:  # the job finds no row and stops
                break
        files, all_gone = 0, True
        for prefix in gone.prefixes:
            try:
                files += self._objects.delete_prefix(prefix)
            except ObjectStoreUnavailable:
                all_gone = False
                break
        try:
            self._receipts.count_files(gone.receipt.id, files, all_gone=all_gone)
            self._receipts.clean_database()
        except DatabaseUnavailable:
            logger.warning("erasure %s: noted by a later sweep", gone.receipt.id)


class RowsErased:
    """What is being erased: clips, and work with its present attempt.

    Attributes
    ----------
    subject_id : str
        Id of what was asked to be erased.
    player_id : str or None
        Whose it was, if a bound key may ask for the receipt.
    receipt : ErasureReceipt
        Set once the rows are gone.
    """

    receipt: ErasureReceipt

    def __init__(
        self,
        principal: Principal,
        subject_id: str,
        clips: Iterable[str] = (),
    ) -> None:
        self.tenant_id = principal.tenant_id
        self.subject_id = subject_id
        self.player_id = principal.player_id
        self.clips = list(clips)
        self.work: dict[str, int] = {}
        self.uploads: list[str] = []
        self.consents: list[str] = []
        self.voices: list[str] = []

    def note_uploads(self, session: Session, coming: ColumnElement[bool] | None) -> None:
        """Note the uploads that brought the clips, those still coming, and their consents."""
        which: ColumnElement[bool] = ResumableUpload.clip_id.in_(self.clips)
        if coming is not None:
            which = or_(which, coming)
        found = session.execute(
            select(ResumableUpload.id, ResumableUpload.consent_id).where(which)
        ).all()
        self.uploads = [row.id for row in found]
        self.consents = [row.consent_id for row in found if row.consent_id is not None]

    @property
    def prefixes(self) -> list[str]:
        """Object prefixes that hold all of it."""
        return [
            *(clip_root(self.tenant_id, clip_id) for clip_id in self.clips),
            *(upload_root(self.tenant_id, upload_id) for upload_id in self.uploads),
            *(voice_root(self.tenant_id, voice_id) for voice_id in self.voices),
            *(KINDS[kind_of(work_id)].root(self.tenant_id, work_id) for work_id in self.work),
        ]
