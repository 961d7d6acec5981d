"""SQL tables of the installation itself, whose rows belong to no organisation."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy.orm import Mapped, mapped_column

from service.core.table_base import Base


class MachineCosts(Base):
    """What analyses have cost one machine, as ``MeasuredCosts``."""

    __tablename__ = "machine_costs"

    machine: Mapped[str] = mapped_column(primary_key=True)
    updated_at: Mapped[datetime]
    costs: Mapped[dict[str, Any]]


class Lock(Base):
    """Lock rows that elect one process for a periodic task."""

    __tablename__ = "locks"

    name: Mapped[str] = mapped_column(primary_key=True)
    holder: Mapped[str]
    until: Mapped[datetime]


class Secret(Base):
    """Secrets of the installation itself, such as the key that signs page cursors."""

    __tablename__ = "secrets"

    name: Mapped[str] = mapped_column(primary_key=True)
    value: Mapped[str]
