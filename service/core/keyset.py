"""Keyset pages, newest first: stable while rows are added and removed around them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from types import MappingProxyType
from typing import Any, Generic, TypeVar

from sqlalchemy import ColumnElement, select, tuple_

from service.core.account_tables import AuditEntry
from service.core.database import Database
from service.core.principal import Principal
from service.core.tables import (
    Clip,
    Consent,
    ErasureReceipt,
    FilmedSession,
    IntakeLink,
    Organisation,
    Player,
    RuleFile,
    ShareLink,
    Voice,
    WebhookEndpoint,
    Work,
)

Row = TypeVar(
    "Row",
    Clip,
    Work,
    WebhookEndpoint,
    Player,
    FilmedSession,
    RuleFile,
    IntakeLink,
    Consent,
    ShareLink,
    Organisation,
    ErasureReceipt,
    AuditEntry,
    Voice,
)
Owned = TypeVar(
    "Owned",
    Clip,
    Work,
    WebhookEndpoint,
    Player,
    FilmedSession,
    RuleFile,
    IntakeLink,
    Consent,
    ShareLink,
    ErasureReceipt,
    AuditEntry,
    Voice,
)


@dataclass(frozen=True, slots=True)
class Position:
    """The last row of a page: the next page begins after it."""

    created_at: datetime
    id: str


@dataclass(frozen=True, slots=True)
class Page(Generic[Row]):
    """Rows, and where to go on (None at the end)."""

    rows: Sequence[Row]
    next: Position | None


def page(
    database: Database,
    table: type[Owned],
    principal: Principal,
    *,
    after: Position | None,
    limit: int,
    filters: Mapping[str, Any] = MappingProxyType({}),
    narrowed: Sequence[ColumnElement[bool]] = (),
) -> Page[Owned]:
    """Return one page of a tenant's rows.

    Parameters
    ----------
    filters : mapping
        Column name to wanted value; None values are left out.
    narrowed : sequence of conditions
        Further conditions, of other tables or of ranges.
    """
    query = select(table).where(table.tenant_id == principal.tenant_id, *narrowed)
    for name, value in filters.items():
        if value is not None:
            query = query.where(getattr(table, name) == value)
    if after is not None:
        query = query.where(tuple_(table.created_at, table.id) < (after.created_at, after.id))
    query = query.order_by(table.created_at.desc(), table.id.desc()).limit(limit + 1)
    with database.read() as session:
        rows = session.scalars(query).all()
    more = len(rows) > limit
    kept = rows[:limit]
    return Page(kept, Position(kept[-1].created_at, kept[-1].id) if more else None)
