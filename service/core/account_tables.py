"""SQL tables of organisations, their keys and what they used."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import BigInteger, ForeignKey, Index, LargeBinary, String
from sqlalchemy.orm import Mapped, mapped_column

from service.core.table_base import Base, tenant_column


class Organisation(Base):
    """A tenant: a club, an academy, an app. ``limits`` and ``keeping`` override the settings.

    ``keeping_since``: when the rule on how long things are kept was changed; None = never.
    """

    __tablename__ = "organisations"
    __table_args__ = (Index("ix_organisations_page", "created_at", "id"),)

    id: Mapped[str] = mapped_column(primary_key=True)
    created_at: Mapped[datetime]
    updated_at: Mapped[datetime]
    name: Mapped[str]
    limits: Mapped[dict[str, Any]]
    keeping: Mapped[dict[str, Any]] = mapped_column(default=dict)
    keeping_since: Mapped[datetime | None]


class Branding(Base):
    """The look of an organisation on its pages."""

    __tablename__ = "branding"

    tenant_id: Mapped[str] = mapped_column(ForeignKey("organisations.id"), primary_key=True)
    updated_at: Mapped[datetime]
    name: Mapped[str]
    colour: Mapped[str | None] = mapped_column(String(7))
    logo: Mapped[bytes | None] = mapped_column(LargeBinary)
    logo_type: Mapped[str | None] = mapped_column(String(16))


class Usage(Base):
    """What an organisation used in a calendar month (UTC), ``month`` = ``2026-11``.

    Sums only, nobody's data: they outlive the films. ``film_s`` is the length of what was
    analysed, ``processor_s`` the processor time of its workers, seconds.
    """

    __tablename__ = "usage"

    tenant_id: Mapped[str] = mapped_column(ForeignKey("organisations.id"), primary_key=True)
    month: Mapped[str] = mapped_column(String(7), primary_key=True)
    films: Mapped[int] = mapped_column(BigInteger)
    bytes: Mapped[int] = mapped_column(BigInteger)
    analyses: Mapped[int] = mapped_column(BigInteger)
    film_s: Mapped[float]
    processor_s: Mapped[float]


class AuditEntry(Base):
    """Who read or changed what, and when: ids only. Rows are added and never changed (triggers of
    the database see to that), and outlive what they are about.

    ``actor_kind``: ``key``, ``link``, ``service`` or ``command``. ``action``: as in the API's
    description, where it was a call. ``player_id``: whose it was, as far as known then.
    """

    __tablename__ = "audit_entries"
    __table_args__ = (
        Index("ix_audit_entries_page", "tenant_id", "created_at", "id"),
        Index("ix_audit_entries_player", "player_id", "created_at"),
    )

    id: Mapped[str] = mapped_column(primary_key=True)
    tenant_id: Mapped[str] = tenant_column()
    created_at: Mapped[datetime]
    actor_kind: Mapped[str] = mapped_column(String(16))
    actor_id: Mapped[str]
    action: Mapped[str]
    subject_id: Mapped[str | None]
    player_id: Mapped[str | None]


class ApiKey(Base):
    """A bearer key. Only the SHA-256 of its secret part is kept.

    After a rotation the former secret is good until ``previous_until``. A key with ``player_id``
    reaches that player only; with ``session_id`` only that session.
    """

    __tablename__ = "api_keys"

    id: Mapped[str] = mapped_column(primary_key=True)
    tenant_id: Mapped[str] = tenant_column()
    player_id: Mapped[str | None] = mapped_column(
        ForeignKey("players.id", ondelete="CASCADE"), index=True
    )
    session_id: Mapped[str | None] = mapped_column(
        ForeignKey("sessions.id", ondelete="CASCADE"), index=True
    )
    name: Mapped[str]
    digest: Mapped[str] = mapped_column(String(64))
    previous_digest: Mapped[str | None] = mapped_column(String(64))
    previous_until: Mapped[datetime | None]
    rotated_at: Mapped[datetime | None]
    scopes: Mapped[list[str]]
    created_at: Mapped[datetime]
    expires_at: Mapped[datetime | None]
    revoked_at: Mapped[datetime | None]
    last_used_at: Mapped[datetime | None]
