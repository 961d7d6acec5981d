"""Whose serves an analysis shows: a player's, or a model's that players are held against."""

from __future__ import annotations

from sqlalchemy import select

from models.contract.errors import NotFound
from models.contract.vocabulary import Role, WorkKind
from service.core.database import Database
from service.core.principal import Principal
from service.core.tables import Work


def stored_role(role: Role) -> str | None:
    """Return what the table holds of a role."""
    return None if role is Role.PLAYER else role.value


def mark(database: Database, principal: Principal, analysis_id: str, role: Role) -> Work:
    """Say whose serves an analysis shows; documents made before stay as they are.

    Raises
    ------
    NotFound
        There is no such analysis.
    """
    with database.write() as session:
        row = session.scalars(
            select(Work)
            .where(
                Work.id == analysis_id,
                Work.tenant_id == principal.tenant_id,
                Work.kind == WorkKind.ANALYSIS,
            )
            .with_for_update()
        ).one_or_none()
        if row is None:
            raise NotFound()
        row.role = stored_role(role)
        return row
