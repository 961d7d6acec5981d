"""SQL tables of what comes and goes without a key: intake links, the consent given there, uploads
that can be resumed, and share links. Of each link's secret only a digest is kept.
"""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import JSON, BigInteger, ForeignKey, Index, String, Text
from sqlalchemy.orm import Mapped, mapped_column

from service.core.table_base import Base, tenant_column


class IntakeLink(Base):
    """An address through which films come in without a key: of one player, or of anybody.

    ``session_id``: where its films are filed; a player's link without one has a session made a
    visit, of ``session_kind``. ``analyse``: options of the analysis that each film starts.
    """

    __tablename__ = "intake_links"
    __table_args__ = (Index("ix_intake_links_page", "tenant_id", "created_at", "id"),)

    id: Mapped[str] = mapped_column(primary_key=True)
    tenant_id: Mapped[str] = tenant_column()
    created_at: Mapped[datetime]
    label: Mapped[str]
    digest: Mapped[str] = mapped_column(String(64))
    player_id: Mapped[str | None] = mapped_column(
        ForeignKey("players.id", ondelete="CASCADE"), index=True
    )
    session_id: Mapped[str | None] = mapped_column(
        ForeignKey("sessions.id", ondelete="CASCADE"), index=True
    )
    session_kind: Mapped[str] = mapped_column(String(16))
    max_films: Mapped[int]
    max_bytes: Mapped[int | None] = mapped_column(BigInteger)
    expires_at: Mapped[datetime]
    revoked_at: Mapped[datetime | None]
    consent_text: Mapped[str] = mapped_column(Text)
    consent_version: Mapped[str]
    consent_covers: Mapped[list[str]]
    consent_keep_days: Mapped[int | None]
    analyse: Mapped[dict[str, Any] | None]
    external_ref: Mapped[str | None]


class Consent(Base):
    """Who agreed to a wording for a player's films, and when: one a visit through an intake link
    (the only ones there were at first, hence the table's name), or recorded by the organisation.

    ``session_id``: the session that a visit's films are filed under, once there is one.
    ``expires_at``: films can be sent through the link until then. A withdrawn consent is kept, as
    the proof that films had one, until its player is erased.
    """

    __tablename__ = "intake_consents"
    __table_args__ = (Index("ix_intake_consents_page", "link_id", "created_at", "id"),)

    id: Mapped[str] = mapped_column(primary_key=True)
    tenant_id: Mapped[str] = tenant_column()
    link_id: Mapped[str | None] = mapped_column(
        ForeignKey("intake_links.id", ondelete="CASCADE"), index=True
    )
    player_id: Mapped[str | None] = mapped_column(
        ForeignKey("players.id", ondelete="CASCADE"), index=True
    )
    session_id: Mapped[str | None] = mapped_column(
        ForeignKey("sessions.id", ondelete="CASCADE"), index=True
    )
    created_at: Mapped[datetime]
    given_at: Mapped[datetime]
    expires_at: Mapped[datetime | None] = mapped_column(index=True)
    withdrawn_at: Mapped[datetime | None]
    given_by: Mapped[str] = mapped_column(String(16))
    name: Mapped[str]
    version: Mapped[str]
    text: Mapped[str] = mapped_column(Text)
    covers: Mapped[list[str]]
    keep_films_days: Mapped[int | None]


class ResumableUpload(Base):
    """A film that arrives in parts. ``finished_at``: its film is a clip, or was refused.

    ``problem`` says why it was refused; beside a clip, why no analysis of it was started.
    """

    __tablename__ = "uploads"
    __table_args__ = (
        Index("ix_uploads_open", "finished_at", "expires_at"),
        Index("ix_uploads_tenant", "tenant_id", "finished_at"),
    )

    id: Mapped[str] = mapped_column(primary_key=True)
    tenant_id: Mapped[str] = tenant_column()
    api_key_id: Mapped[str]
    link_id: Mapped[str | None] = mapped_column(
        ForeignKey("intake_links.id", ondelete="CASCADE"), index=True
    )
    consent_id: Mapped[str | None] = mapped_column(
        ForeignKey("intake_consents.id", ondelete="CASCADE"), index=True
    )
    player_id: Mapped[str | None] = mapped_column(
        ForeignKey("players.id", ondelete="CASCADE"), index=True
    )
    session_id: Mapped[str | None] = mapped_column(
        ForeignKey("sessions.id", ondelete="CASCADE"), index=True
    )
    clip_id: Mapped[str | None] = mapped_column(
        ForeignKey("clips.id", ondelete="CASCADE"), index=True
    )
    created_at: Mapped[datetime]
    updated_at: Mapped[datetime]
    expires_at: Mapped[datetime]
    finished_at: Mapped[datetime | None]
    length: Mapped[int] = mapped_column(BigInteger)
    received: Mapped[int] = mapped_column(BigInteger)
    sha256: Mapped[str | None] = mapped_column(String(64))
    external_ref: Mapped[str | None]
    analyse: Mapped[dict[str, Any] | None]
    problem: Mapped[dict[str, Any] | None]


class UploadPiece(Base):
    """Bytes of an upload that lie in the object store, from ``first`` on."""

    __tablename__ = "upload_pieces"

    upload_id: Mapped[str] = mapped_column(
        ForeignKey("uploads.id", ondelete="CASCADE"), primary_key=True
    )
    first: Mapped[int] = mapped_column(BigInteger, primary_key=True)
    tenant_id: Mapped[str] = tenant_column()
    length: Mapped[int]
    object_key: Mapped[str]


class Voice(Base):
    """A coach's spoken message for a player; the file lies in the object store."""

    __tablename__ = "voices"
    __table_args__ = (Index("ix_voices_page", "tenant_id", "player_id", "created_at", "id"),)

    id: Mapped[str] = mapped_column(primary_key=True)
    tenant_id: Mapped[str] = tenant_column()
    player_id: Mapped[str] = mapped_column(ForeignKey("players.id", ondelete="CASCADE"), index=True)
    created_at: Mapped[datetime]
    object_key: Mapped[str]
    media_type: Mapped[str] = mapped_column(String(16))
    size_bytes: Mapped[int]
    sha256: Mapped[str] = mapped_column(String(64))


class ShareLink(Base):
    """An address under which files of one piece of work can be read without a key."""

    __tablename__ = "share_links"
    __table_args__ = (Index("ix_share_links_page", "tenant_id", "created_at", "id"),)

    id: Mapped[str] = mapped_column(primary_key=True)
    tenant_id: Mapped[str] = tenant_column()
    created_at: Mapped[datetime]
    work_id: Mapped[str] = mapped_column(ForeignKey("work.id", ondelete="CASCADE"), index=True)
    files: Mapped[list[str]] = mapped_column(JSON)
    digest: Mapped[str] = mapped_column(String(64))
    expires_at: Mapped[datetime]
    revoked_at: Mapped[datetime | None]
    views: Mapped[int]
    last_viewed_at: Mapped[datetime | None]
