"""Webhook events: structured CloudEvents 1.0 bodies, signed by the Standard Webhooks headers."""

from __future__ import annotations

from datetime import datetime
from typing import Any, Literal

from pydantic import Field

from models.contract.base import SCHEMA_BASE, Document
from models.contract.problem import Problem
from models.contract.vocabulary import AnalysisStatus

SCHEMA_ID = SCHEMA_BASE + "webhook-event.v1.json"

EventType = Literal[
    "analysis.first_look",
    "analysis.completed",
    "analysis.failed",
    "comparison.completed",
    "comparison.failed",
    "progress.completed",
    "progress.failed",
    "plan.completed",
    "plan.failed",
    "drill_check.completed",
    "drill_check.failed",
    "session.completed",
    "retention.due",
    "endpoint.disabled",
    "webhook.test",
]


class WebhookData(Document):
    """What happened, thin: ids, status and links; fetch the rest with your API key."""

    resource: str = Field(
        description="Kind of thing: analysis, comparison, progress, plan, drill_check, session, "
        "player, endpoint."
    )
    id: str
    status: AnalysisStatus | None = None
    clip_id: str | None = None
    same_serve: str | None = Field(
        default=None, description="Clip of the second film, of an analysis of two."
    )
    player_id: str | None = None
    external_ref: str | None = None
    links: dict[str, str] = Field(default_factory=dict)
    headline: dict[str, Any] = Field(default_factory=dict)
    problem: Problem | None = None


class WebhookEvent(Document):
    """One event. ``id`` equals the ``webhook-id`` header and stays the same over retries."""

    specversion: Literal["1.0"] = "1.0"
    id: str
    source: str
    type: EventType
    time: datetime
    subject: str | None = None
    datacontenttype: Literal["application/json"] = "application/json"
    dataschema: str = SCHEMA_ID
    data: WebhookData
