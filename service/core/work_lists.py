"""Lists of work: which of it is wanted, and one page of that."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import ColumnElement, or_, select

from models.contract.vocabulary import AnalysisStatus, Role, WorkKind
from service.core.database import Database
from service.core.keyset import Page, Position, page
from service.core.principal import Principal
from service.core.tables import Clip, FilmedSession, Work


@dataclass(frozen=True, slots=True)
class WorkFilter:
    """Which work is wanted; None = any.

    Attributes
    ----------
    player_id, session_id : str or None
        Of an analysis: where its clip is filed now. Of a document: the player it is about.
    created_from, created_before : datetime or None
        When it was asked for: from the first moment, up to but without the second.
    """

    kind: WorkKind
    status: AnalysisStatus | None = None
    clip_id: str | None = None
    session_id: str | None = None
    player_id: str | None = None
    role: Role | None = None
    created_from: datetime | None = None
    created_before: datetime | None = None

    def conditions(self) -> list[ColumnElement[bool]]:
        """Return the filter as conditions on the table."""
        found = [Work.kind == self.kind]
        if self.status is not None:
            found.append(Work.status == self.status)
        if self.clip_id is not None:
            found.append(or_(Work.clip_id == self.clip_id, Work.same_serve_id == self.clip_id))
        if self.session_id is not None:
            filed = select(Clip.id).where(Clip.session_id == self.session_id)
            found.append(Work.clip_id.in_(filed))
        if self.player_id is not None and self.kind is not WorkKind.ANALYSIS:
            found.append(Work.player_id == self.player_id)
        elif self.player_id is not None:
            filmed = (
                select(Clip.id)
                .join(FilmedSession, FilmedSession.id == Clip.session_id)
                .where(FilmedSession.player_id == self.player_id)
            )
            found.append(Work.clip_id.in_(filmed))
        if self.role is not None:
            model = Work.role == Role.MODEL
            found.append(model if self.role is Role.MODEL else Work.role.is_(None))
        if self.created_from is not None:
            found.append(Work.created_at >= self.created_from)
        if self.created_before is not None:
            found.append(Work.created_at < self.created_before)
        return found


def work_page(
    database: Database,
    principal: Principal,
    wanted: WorkFilter,
    *,
    after: Position | None,
    limit: int,
) -> Page[Work]:
    """Return one page of a tenant's work, newest first."""
    return page(
        database,
        Work,
        principal,
        after=after,
        limit=limit,
        filters={},
        narrowed=wanted.conditions(),
    )
