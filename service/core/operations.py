"""Work of all organisations, for those who run the installation: listed, cancelled, tried again."""

from __future__ import annotations

from sqlalchemy import select, tuple_
from sqlalchemy.orm import Session

from models.contract.errors import NotFound, NotTriedAgain, WorkEnded, all_errors
from models.contract.vocabulary import AnalysisStatus, WorkKind
from service.core import lifecycle
from service.core.database import Database
from service.core.keyset import Page, Position
from service.core.reach import EVERYTHING
from service.core.tables import Work
from service.core.turns import end, requeue, state_of

_STATUS_OF = {cls.code: cls.status for cls in all_errors()}
OPERATORS_AFFAIR = 500
"""HTTP status from which a failure is the installation's and not the film's."""


class Operations:
    """What an operator may do with work. Nothing of what it is about is shown."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def page(
        self,
        after: Position | None,
        limit: int,
        status: AnalysisStatus | None = None,
        kind: WorkKind | None = None,
    ) -> Page[Work]:
        """Return one page of the work of all organisations, newest first."""
        query = select(Work)
        if status is not None:
            query = query.where(Work.status == status)
        if kind is not None:
            query = query.where(Work.kind == kind)
        if after is not None:
            query = query.where(tuple_(Work.created_at, Work.id) < (after.created_at, after.id))
        query = query.order_by(Work.created_at.desc(), Work.id.desc()).limit(limit + 1)
        with self._database.read(EVERYTHING) as session:
            rows = session.scalars(query).all()
        kept = rows[:limit]
        more = len(rows) > limit
        return Page(kept, Position(kept[-1].created_at, kept[-1].id) if more else None)

    def get(self, work_id: str) -> Work:
        """Return a piece of work, or raise ``NotFound``."""
        with self._database.read(EVERYTHING) as session:
            return _find(session, work_id)

    def cancel(self, work_id: str) -> Work:
        """Cancel unfinished work; raise ``WorkEnded`` when it has ended otherwise."""
        with self._database.write(EVERYTHING) as session:
            row = _find(session, work_id, lock=True)
            decision = lifecycle.cancel(state_of(row))
            if isinstance(decision, lifecycle.Settled):
                row.status = decision.status
                end(row, self._database.now(session))
            elif row.status != AnalysisStatus.CANCELLED:
                raise WorkEnded(about=work_id)
            return row

    def try_again(self, work_id: str) -> Work:
        """Put work back that the installation failed; enqueue it after the commit.

        Its crashes count from 0 again. Whoever was told of the failure is told how it ends now.

        Raises
        ------
        NotTriedAgain
            It has not failed, or by its film's fault.
        """
        with self._database.write(EVERYTHING) as session:
            row = _find(session, work_id, lock=True)
            code = (row.problem or {}).get("code")
            if (
                row.status != AnalysisStatus.FAILED
                or _STATUS_OF.get(str(code), 0) < OPERATORS_AFFAIR
            ):
                raise NotTriedAgain(about=work_id)
            requeue(row, lifecycle.Requeue(row.attempt + 1, 0), self._database.now(session))
            row.problem = None
            row.finished_at = None
            row.stage = None
            row.progress = 0.0
            return row


def _find(session: Session, work_id: str, *, lock: bool = False) -> Work:
    query = select(Work).where(Work.id == work_id)
    row = session.scalars(query.with_for_update() if lock else query).one_or_none()
    if row is None:
        raise NotFound()
    return row
