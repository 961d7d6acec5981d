"""A coach's own lines on the pictures of an analysis: kept with it, erased with it."""

from __future__ import annotations

from sqlalchemy import Select, select

from models.contract.annotations import Annotations, check_fit
from models.contract.errors import AnalysisNotCompleted, NotFound
from models.contract.note_codes import NoteCode, say
from models.contract.vocabulary import AnalysisStatus, WorkKind
from service.core.database import Database
from service.core.principal import Principal
from service.core.tables import Clip, Work

PICTURES = "pictures/"
PLAIN = "-plain.jpg"
"""Ending of pictures without numbers, which show the lines of the one with them."""


class OwnLines:
    """Keeps the lines. Pages that are made afterwards show them."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def get(self, principal: Principal, analysis_id: str) -> Annotations:
        """Return the lines, or raise ``NotFound`` where there are none."""
        with self._database.read() as session:
            row = session.scalars(_wanted(principal, analysis_id)).one_or_none()
        if row is None or row.own_lines is None:
            raise NotFound()
        return Annotations.model_validate(row.own_lines)

    def put(self, principal: Principal, analysis_id: str, lines: Annotations | None) -> None:
        """Keep these lines instead of those there were; None = no more.

        Raises
        ------
        NotFound, AnalysisNotCompleted
            There is no such analysis, or it has no pictures yet.
        InvalidRequest
            A mark is on no picture of it, or beside the frame.
        """
        with self._database.write() as session:
            row = session.scalars(_wanted(principal, analysis_id).with_for_update()).one_or_none()
            if row is None:
                raise NotFound()
            if lines is None:
                if row.own_lines is None:
                    raise NotFound()
                row.own_lines = None
                return
            if row.status != AnalysisStatus.COMPLETED:
                said = say(NoteCode.STATUS_OF_ANALYSIS, analysis=row.id, status=row.status)
                raise AnalysisNotCompleted(said, about=row.id)
            names = [
                name.removeprefix(PICTURES)
                for name in row.artifacts
                if name.startswith(PICTURES) and not name.endswith(PLAIN)
            ]
            facts = session.get_one(Clip, row.clip_id).facts or {}
            check_fit(lines, names, facts.get("width", 0), facts.get("height", 0))
            row.own_lines = lines.model_dump(mode="json", by_alias=True)


def _wanted(principal: Principal, analysis_id: str) -> Select[Work]:
    return select(Work).where(
        Work.id == analysis_id,
        Work.tenant_id == principal.tenant_id,
        Work.kind == WorkKind.ANALYSIS,
    )
