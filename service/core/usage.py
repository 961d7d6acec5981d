"""What organisations use, by calendar month (UTC): counted in the transaction that uses it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.orm import Session

from service.core.tables import Usage


@dataclass(frozen=True, slots=True)
class MonthOfUse:
    """What one organisation used in one month.

    Attributes
    ----------
    month : str
        ``2026-11``, UTC.
    films, bytes : int
        Films received, and their size.
    analyses : int
        Analyses that ended with a result.
    film_s : float
        Length of the films in them, seconds.
    processor_s : float
        Processor time of the workers for work of any kind that ended, failed work included,
        seconds.
    """

    tenant_id: str
    month: str
    films: int = 0
    bytes: int = 0
    analyses: int = 0
    film_s: float = 0.0
    processor_s: float = 0.0


def month_of(moment: datetime) -> str:
    """Return the calendar month of a moment, UTC."""
    return f"{moment.astimezone(UTC):%Y-%m}"


def next_month(moment: datetime) -> datetime:
    """Return when the next calendar month begins, UTC."""
    first = moment.astimezone(UTC).replace(day=1, hour=0, minute=0, second=0, microsecond=0)
    return first.replace(year=first.year + first.month // 12, month=first.month % 12 + 1)


def count(
    session: Session,
    tenant_id: str,
    now: datetime,
    *,
    films: int = 0,
    bytes: int = 0,
    analyses: int = 0,
    film_s: float = 0.0,
    processor_s: float = 0.0,
) -> None:
    """Add to the month's sums in the caller's transaction. Call it last: it locks one row."""
    added: dict[str, Any] = {
        "films": films,
        "bytes": bytes,
        "analyses": analyses,
        "film_s": film_s,
        "processor_s": processor_s,
    }
    dialect = session.get_bind().dialect.name
    insert = postgresql.insert if dialect == "postgresql" else sqlite.insert
    entered = insert(Usage).values(tenant_id=tenant_id, month=month_of(now), **added)
    sums = {name: getattr(Usage, name) + entered.excluded[name] for name in added}
    session.flush()
    session.execute(entered.on_conflict_do_update(index_elements=["tenant_id", "month"], set_=sums))


def used(
    session: Session, tenant_id: str, first: str | None = None, last: str | None = None
) -> list[MonthOfUse]:
    """Return the months in which an organisation used anything, in order.

    Parameters
    ----------
    first, last : str or None
        Months, both included; None = all.
    """
    query = select(Usage).where(Usage.tenant_id == tenant_id).order_by(Usage.month)
    if first is not None:
        query = query.where(Usage.month >= first)
    if last is not None:
        query = query.where(Usage.month <= last)
    return [
        MonthOfUse(
            row.tenant_id,
            row.month,
            row.films,
            row.bytes,
            row.analyses,
            row.film_s,
            row.processor_s,
        )
        for row in session.scalars(query)
    ]


def used_in(session: Session, tenant_id: str, now: datetime) -> MonthOfUse:
    """Return what was used in the month of a moment."""
    month = month_of(now)
    return next(iter(used(session, tenant_id, month, month)), MonthOfUse(tenant_id, month))
