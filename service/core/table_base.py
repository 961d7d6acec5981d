"""What all tables stand on: the declarative base, times in UTC, the column of the organisation."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from sqlalchemy import JSON, DateTime, Dialect, ForeignKey, MetaData, String, TypeDecorator
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

MAIN_TENANT = "main"
"""Id of the first organisation, which every installation has."""


class UtcDateTime(TypeDecorator[datetime]):
    """Aware datetimes in UTC, also on SQLite, which has no time zones."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Refuse naive times; hand UTC to the driver."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("naive datetime")
        value = value.astimezone(UTC)
        return value.replace(tzinfo=None) if dialect.name == "sqlite" else value

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Return UTC."""
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


class Base(DeclarativeBase):
    """Base of all tables."""

    metadata = MetaData(
        naming_convention={
            "ix": "ix_%(column_0_label)s",
            "uq": "uq_%(table_name)s_%(column_0_name)s",
            "ck": "ck_%(table_name)s_%(constraint_name)s",
            "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
            "pk": "pk_%(table_name)s",
        }
    )
    type_annotation_map = {  # noqa: RUF012 (read by SQLAlchemy as a class attribute)
        datetime: UtcDateTime,
        dict[str, Any]: JSON(none_as_null=True),
        list[str]: JSON,
        str: String(255),
    }


def tenant_column() -> Mapped[str]:
    """Return the column that names the organisation of a row."""
    return mapped_column(ForeignKey("organisations.id"))
