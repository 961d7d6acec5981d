"""SQL tables. Every row carries the ``tenant_id`` of its organisation, by which each session is
narrowed (:mod:`service.core.narrowing`); locks, secrets and costs of machines alone belong to the
installation.

Identifiers sort by time (see :mod:`service.core.identifiers`), so lists page on (created_at, id).
"""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import (
    BigInteger,
    CheckConstraint,
    ForeignKey,
    Index,
    String,
    Text,
    UniqueConstraint,
)
from sqlalchemy.orm import Mapped, mapped_column

from service.core.account_tables import ApiKey, Organisation, Usage
from service.core.installation_tables import Lock, MachineCosts, Secret
from service.core.table_base import MAIN_TENANT, Base, UtcDateTime, tenant_column
from service.core.upload_tables import (
    Consent,
    IntakeLink,
    ResumableUpload,
    ShareLink,
    UploadPiece,
    Voice,
)

__all__ = [
    "MAIN_TENANT",
    "ApiKey",
    "Base",
    "Clip",
    "Consent",
    "Delivery",
    "Erasure",
    "FilmedSession",
    "IdempotentReply",
    "IntakeLink",
    "Lock",
    "MachineCosts",
    "Organisation",
    "OutboxEvent",
    "Player",
    "ResumableUpload",
    "RuleFile",
    "Secret",
    "ShareLink",
    "UploadPiece",
    "Usage",
    "UtcDateTime",
    "Voice",
    "WebhookEndpoint",
    "Work",
    "WorkInput",
]


class Player(Base):
    """Someone who is filmed, under the id of the integrating app. No name is kept."""

    __tablename__ = "players"
    __table_args__ = (
        Index("ix_players_page", "tenant_id", "created_at", "id"),
        UniqueConstraint("tenant_id", "external_id"),
    )

    id: Mapped[str] = mapped_column(primary_key=True)
    tenant_id: Mapped[str] = tenant_column()
    created_at: Mapped[datetime]
    updated_at: Mapped[datetime]
    external_id: Mapped[str]
    handedness: Mapped[str] = mapped_column(String(16))
    height_m: Mapped[float | None]
    sex: Mapped[str] = mapped_column(String(16))
    birth_year: Mapped[int | None]
    notes: Mapped[str | None] = mapped_column(Text)


class FilmedSession(Base):
    """One occasion on which a player was filmed."""

    __tablename__ = "sessions"
    __table_args__ = (Index("ix_sessions_page", "tenant_id", "player_id", "created_at", "id"),)

    id: Mapped[str] = mapped_column(primary_key=True)
    tenant_id: Mapped[str] = tenant_column()
    player_id: Mapped[str] = mapped_column(ForeignKey("players.id", ondelete="CASCADE"), index=True)
    created_at: Mapped[datetime]
    updated_at: Mapped[datetime]
    kind: Mapped[str] = mapped_column(String(16))
    filmed_at: Mapped[datetime]
    drill_stage: Mapped[str | None] = mapped_column(String(16))
    drill_id: Mapped[str | None]
    serve_speed_m_s: Mapped[float | None]
    serve_speed_source: Mapped[str | None] = mapped_column(String(16))
    notes: Mapped[str | None] = mapped_column(Text)


class Clip(Base):
    """An uploaded film. ``state``: ``uploading`` (direct upload announced) or ``ready``.

    ``analyse``: options of the analysis that an announced film starts once it is in.
    ``film_removed_at``: when its time was over and the film was removed; the digest went with it.
    ``upload_id``: what the object store calls the upload of a film that comes in parts.
    """

    __tablename__ = "clips"
    __table_args__ = (
        Index("ix_clips_page", "tenant_id", "created_at", "id"),
        UniqueConstraint("api_key_id", "sha256"),
    )

    id: Mapped[str] = mapped_column(primary_key=True)
    tenant_id: Mapped[str] = tenant_column()
    api_key_id: Mapped[str]
    created_at: Mapped[datetime]
    state: Mapped[str] = mapped_column(String(16))
    object_key: Mapped[str]
    media_type: Mapped[str]
    size_bytes: Mapped[int | None] = mapped_column(BigInteger)
    sha256: Mapped[str | None] = mapped_column(String(64))
    announced_sha256: Mapped[str | None] = mapped_column(String(64))
    external_ref: Mapped[str | None]
    session_id: Mapped[str | None] = mapped_column(
        ForeignKey("sessions.id", ondelete="CASCADE"), index=True
    )
    facts: Mapped[dict[str, Any] | None]
    analyse: Mapped[dict[str, Any] | None]
    upload_id: Mapped[str | None] = mapped_column(Text)
    film_removed_at: Mapped[datetime | None]
    metadata_state: Mapped[str | None] = mapped_column(String(8))


class Work(Base):
    """A piece of queued work that workers compete for. ``kind``: as in ``WorkKind``.

    ``attempt`` is the fencing token: it rises whenever the work changes hands. ``crashes`` counts
    the leases that lapsed. An analysis has the clip it is of, maybe another of the same serve; a
    document may be about one player.
    ``first_look`` is the early verdict on a film; ``time_left_s`` is as of the last heartbeat.
    ``own_lines``: the coach's own on the pictures of an analysis, as in ``Annotations``.
    ``role``: ``model`` of an analysis that players are held against; None of all others.
    ``traceparent``: where the trace of the request goes on (:mod:`service.core.traces`).
    """

    __tablename__ = "work"
    __table_args__ = (
        Index("ix_work_page", "tenant_id", "kind", "created_at", "id"),
        Index("ix_work_unfinished", "status", "lease_until"),
        CheckConstraint("(kind = 'analysis') = (clip_id IS NOT NULL)", name="clip_of_analysis"),
    )

    id: Mapped[str] = mapped_column(primary_key=True)
    tenant_id: Mapped[str] = tenant_column()
    kind: Mapped[str] = mapped_column(String(16))
    clip_id: Mapped[str | None] = mapped_column(
        ForeignKey("clips.id", ondelete="CASCADE"), index=True
    )
    same_serve_id: Mapped[str | None] = mapped_column(
        ForeignKey("clips.id", ondelete="CASCADE"), index=True
    )
    player_id: Mapped[str | None] = mapped_column(
        ForeignKey("players.id", ondelete="CASCADE"), index=True
    )
    created_at: Mapped[datetime]
    status: Mapped[str] = mapped_column(String(16))
    stage: Mapped[str | None] = mapped_column(String(16))
    progress: Mapped[float]
    attempt: Mapped[int]
    crashes: Mapped[int]
    lease_until: Mapped[datetime | None]
    lease_holder: Mapped[str | None]
    queued_at: Mapped[datetime]
    started_at: Mapped[datetime | None]
    finished_at: Mapped[datetime | None]
    external_ref: Mapped[str | None]
    role: Mapped[str | None] = mapped_column(String(8))
    own_lines: Mapped[dict[str, Any] | None]
    request: Mapped[dict[str, Any]]
    artifacts: Mapped[dict[str, Any]]
    headline: Mapped[dict[str, Any]]
    problem: Mapped[dict[str, Any] | None]
    first_look: Mapped[dict[str, Any] | None]
    time_left_s: Mapped[float | None]
    joints_removed_at: Mapped[datetime | None]
    reports_removed_at: Mapped[datetime | None]
    traceparent: Mapped[str | None] = mapped_column(String(55))


class WorkInput(Base):
    """Finished work that other work is made from. ``side``: ``first`` or ``second``, if any."""

    __tablename__ = "work_inputs"

    work_id: Mapped[str] = mapped_column(
        ForeignKey("work.id", ondelete="CASCADE"), primary_key=True
    )
    position: Mapped[int] = mapped_column(primary_key=True)
    tenant_id: Mapped[str] = tenant_column()
    input_id: Mapped[str] = mapped_column(ForeignKey("work.id", ondelete="CASCADE"), index=True)
    side: Mapped[str | None] = mapped_column(String(8))


class RuleFile(Base):
    """A coach's own practice rules, as they were sent."""

    __tablename__ = "rule_files"
    __table_args__ = (Index("ix_rule_files_page", "tenant_id", "created_at", "id"),)

    id: Mapped[str] = mapped_column(primary_key=True)
    tenant_id: Mapped[str] = tenant_column()
    created_at: Mapped[datetime]
    name: Mapped[str]
    findings: Mapped[int]
    drills: Mapped[int]
    text: Mapped[str] = mapped_column(Text)


class WebhookEndpoint(Base):
    """Where events are delivered. The secret must be readable, since it signs."""

    __tablename__ = "webhook_endpoints"
    __table_args__ = (
        Index("ix_webhook_endpoints_page", "tenant_id", "created_at", "id"),
        Index("ix_webhook_endpoints_url", "tenant_id", "url_digest", unique=True),
    )

    id: Mapped[str] = mapped_column(primary_key=True)
    tenant_id: Mapped[str] = tenant_column()
    created_at: Mapped[datetime]
    updated_at: Mapped[datetime]
    url: Mapped[str] = mapped_column(String(2048))
    url_digest: Mapped[str | None] = mapped_column(String(64))
    """Of the address in its normal form; None for repeats from before they were refused."""
    description: Mapped[str | None]
    event_types: Mapped[list[str]]
    enabled: Mapped[bool]
    disabled_reason: Mapped[str | None] = mapped_column(String(16))
    disabled_at: Mapped[datetime | None]
    failures: Mapped[int] = mapped_column(default=0)
    paused_until: Mapped[datetime | None]
    last_claimed_at: Mapped[datetime | None]
    secret: Mapped[str]
    previous_secret: Mapped[str | None]
    previous_secret_until: Mapped[datetime | None]


class OutboxEvent(Base):
    """An event, written in the transaction that made it true. ``body`` is sent as it stands."""

    __tablename__ = "outbox_events"

    id: Mapped[str] = mapped_column(primary_key=True)
    tenant_id: Mapped[str] = tenant_column()
    created_at: Mapped[datetime]
    type: Mapped[str]
    subject: Mapped[str | None]
    clip_id: Mapped[str | None] = mapped_column(
        ForeignKey("clips.id", ondelete="CASCADE"), index=True
    )
    work_id: Mapped[str | None] = mapped_column(
        ForeignKey("work.id", ondelete="CASCADE"), index=True
    )
    player_id: Mapped[str | None] = mapped_column(
        ForeignKey("players.id", ondelete="CASCADE"), index=True
    )
    session_id: Mapped[str | None] = mapped_column(
        ForeignKey("sessions.id", ondelete="CASCADE"), index=True
    )
    body: Mapped[str] = mapped_column(Text)
    traceparent: Mapped[str | None] = mapped_column(String(55))


class Delivery(Base):
    """One event for one endpoint.

    ``state``: ``pending``, ``sending`` (until ``due_at`` at the latest), ``delivered`` or
    ``failed``. ``subject``: deliveries that share it are sent in the order of ``created_at``.
    """

    __tablename__ = "deliveries"
    __table_args__ = (
        Index("ix_deliveries_due", "endpoint_id", "state", "due_at"),
        Index("ix_deliveries_order", "endpoint_id", "subject", "state", "created_at"),
        Index("ix_deliveries_page", "endpoint_id", "created_at", "event_id"),
    )

    event_id: Mapped[str] = mapped_column(
        ForeignKey("outbox_events.id", ondelete="CASCADE"), primary_key=True
    )
    endpoint_id: Mapped[str] = mapped_column(
        ForeignKey("webhook_endpoints.id", ondelete="CASCADE"), primary_key=True, index=True
    )
    tenant_id: Mapped[str] = tenant_column()
    subject: Mapped[str | None]
    created_at: Mapped[datetime]
    queued_at: Mapped[datetime]
    state: Mapped[str] = mapped_column(String(16))
    tries: Mapped[int]
    due_at: Mapped[datetime]
    last_tried_at: Mapped[datetime | None]
    last_status: Mapped[int | None]
    last_error: Mapped[str | None]


class SendTry(Base):
    """One try to deliver: what was sent and what came back, without secrets."""

    __tablename__ = "delivery_tries"
    __table_args__ = (Index("ix_delivery_tries_of", "endpoint_id", "event_id", "tried_at"),)

    id: Mapped[str] = mapped_column(primary_key=True)
    tenant_id: Mapped[str] = tenant_column()
    event_id: Mapped[str] = mapped_column(
        ForeignKey("outbox_events.id", ondelete="CASCADE"), index=True
    )
    endpoint_id: Mapped[str] = mapped_column(ForeignKey("webhook_endpoints.id", ondelete="CASCADE"))
    number: Mapped[int]
    tried_at: Mapped[datetime] = mapped_column(index=True)
    took_s: Mapped[float]
    url: Mapped[str] = mapped_column(String(2048))
    request_headers: Mapped[dict[str, Any]]
    status: Mapped[int | None]
    response_headers: Mapped[dict[str, Any]]
    response_body: Mapped[str | None] = mapped_column(Text)
    error: Mapped[str | None]


class IdempotentReply(Base):
    """What an unsafe request with an Idempotency-Key made: ids only, no personal data."""

    __tablename__ = "idempotent_replies"

    api_key_id: Mapped[str] = mapped_column(primary_key=True)
    route: Mapped[str] = mapped_column(primary_key=True)
    key: Mapped[str] = mapped_column(primary_key=True)
    tenant_id: Mapped[str] = tenant_column()
    fingerprint: Mapped[str] = mapped_column(String(64))
    resource_id: Mapped[str] = mapped_column(index=True)
    status: Mapped[int]
    created_at: Mapped[datetime] = mapped_column(index=True)


class ErasureReceipt(Base):
    """An erasure: how far it is, and its receipt. Ids and counts only, no personal data."""

    __tablename__ = "erasure_receipts"
    __table_args__ = (Index("ix_erasure_receipts_page", "tenant_id", "created_at", "id"),)

    id: Mapped[str] = mapped_column(primary_key=True)
    tenant_id: Mapped[str] = tenant_column()
    created_at: Mapped[datetime]
    subject_id: Mapped[str]
    player_id: Mapped[str | None]
    """Player that the key was bound to which asked; it may read this receipt."""
    clips: Mapped[int]
    work: Mapped[int]
    files: Mapped[int]
    files_erased_at: Mapped[datetime | None]
    database_cleaned_at: Mapped[datetime | None]
    completed_at: Mapped[datetime | None]


class Erasure(Base):
    """Object keys to sweep: a job may still write for a while after its rows are gone."""

    __tablename__ = "erasures"

    prefix: Mapped[str] = mapped_column(primary_key=True)
    receipt_id: Mapped[str | None] = mapped_column(
        ForeignKey("erasure_receipts.id", ondelete="CASCADE"), index=True
    )
    tenant_id: Mapped[str] = tenant_column()
    erased_at: Mapped[datetime]
    sweep_until: Mapped[datetime]
