"""Quotas: refuses what would go over a limit of the organisation, and says which and what to do."""

from __future__ import annotations

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from models.contract.errors import QuotaExceeded
from models.contract.note_codes import NoteCode, say
from models.contract.vocabulary import AnalysisStatus
from service.core.database import Database
from service.core.limits import Limits
from service.core.reach import whole_organisation
from service.core.tables import Clip, Organisation, ResumableUpload, Work
from service.core.usage import next_month, used_in

UNFINISHED = (AnalysisStatus.QUEUED, AnalysisStatus.RUNNING)


class Quotas:
    """Checks in the caller's transaction. Two at the same moment may go over by what they bring.

    Parameters
    ----------
    defaults : Limits
        Of organisations that have none of their own.
    """

    def __init__(self, database: Database, defaults: Limits) -> None:
        self._database = database
        self.defaults = defaults

    def limits(self, session: Session, tenant_id: str) -> Limits:
        """Return the limits in force for an organisation."""
        return self.defaults.of(session.get_one(Organisation, tenant_id))

    def check_film(self, session: Session, tenant_id: str, size_bytes: int) -> None:
        """Raise ``QuotaExceeded`` when another film of this size is too much.

        Films that are still arriving in parts count as if they were here.
        """
        with whole_organisation(session):
            limits = self.limits(session, tenant_id)
            self._check_month(session, tenant_id, "films_per_month", limits.films_per_month)
            if limits.stored_bytes:
                stored = select(func.sum(Clip.size_bytes)).where(Clip.tenant_id == tenant_id)
                coming = select(func.sum(ResumableUpload.length)).where(
                    ResumableUpload.tenant_id == tenant_id, ResumableUpload.finished_at.is_(None)
                )
                have = sum(int(session.execute(one).scalar_one() or 0) for one in (stored, coming))
                if have + size_bytes > limits.stored_bytes:
                    raise QuotaExceeded(
                        say(NoteCode.QUOTA_STORED, limit=limits.stored_bytes, stored=have),
                        quota="stored_bytes",
                    )

    def check_work(self, session: Session, tenant_id: str) -> None:
        """Raise ``QuotaExceeded`` when more work is too much."""
        with whole_organisation(session):
            limits = self.limits(session, tenant_id)
            limit = limits.processor_s_per_month
            self._check_month(session, tenant_id, "processor_s_per_month", limit)
            if limits.waiting_work:
                waiting = (
                    select(func.count())
                    .select_from(Work)
                    .where(Work.tenant_id == tenant_id, Work.status.in_(UNFINISHED))
                )
                if session.execute(waiting).scalar_one() >= limits.waiting_work:
                    raise QuotaExceeded(
                        say(NoteCode.QUOTA_WAITING, limit=limits.waiting_work),
                        quota="waiting_work",
                    )

    def _check_month(self, session: Session, tenant_id: str, name: str, limit: int) -> None:
        if not limit:
            return
        now = self._database.now(session)
        use = used_in(session, tenant_id, now)
        films = name == "films_per_month"
        if (use.films if films else use.processor_s) >= limit:
            code = NoteCode.QUOTA_FILMS if films else NoteCode.QUOTA_PROCESSOR
            again = f"{next_month(now):%Y-%m-%d}"
            raise QuotaExceeded(say(code, limit=limit, again=again), quota=name)
