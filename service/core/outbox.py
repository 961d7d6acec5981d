"""The outbox: events are written with what they tell of, and sent afterwards.

How they are sent, and in which order: :mod:`service.core.deliveries`.
"""

from __future__ import annotations

import json
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from models.contract.webhook import EventType, WebhookData, WebhookEvent
from service.core.identifiers import new_id
from service.core.tables import Delivery, OutboxEvent, WebhookEndpoint
from service.core.traces import carried


def emit(
    session: Session,
    now: datetime,
    *,
    tenant_id: str,
    type: EventType,
    source: str,
    subject: str,
    data: WebhookData,
    clip_id: str | None = None,
    work_id: str | None = None,
    player_id: str | None = None,
    session_id: str | None = None,
    event_id: str | None = None,
    only_endpoint: str | None = None,
    traceparent: str | None = None,
) -> str:
    """Write an event and its deliveries in the caller's transaction; return its id.

    Parameters
    ----------
    clip_id, work_id, player_id, session_id : str or None
        What the event tells of: it is erased with each of them.
    event_id : str or None
        For events whose id follows from what they tell of; else a new one.
    only_endpoint : str or None
        Deliver to this endpoint alone, whatever it subscribes to (test events).
    traceparent : str or None
        Where its trace goes on; None = that of what runs now.
    """
    event = WebhookEvent(
        id=event_id or new_id("evt"),
        source=source,
        type=type,
        time=now,
        subject=subject,
        data=data,
    )
    body = json.dumps(event.model_dump(mode="json"), ensure_ascii=False, separators=(",", ":"))
    row = OutboxEvent(
        id=event.id,
        tenant_id=tenant_id,
        created_at=now,
        type=type,
        subject=subject,
        clip_id=clip_id,
        work_id=work_id,
        player_id=player_id,
        session_id=session_id,
        body=body,
        traceparent=traceparent or carried(),
    )
    session.add(row)
    session.flush()
    endpoints = session.scalars(
        select(WebhookEndpoint).where(
            WebhookEndpoint.tenant_id == tenant_id, WebhookEndpoint.enabled
        )
    )
    for endpoint in endpoints:
        if only_endpoint is not None:
            if endpoint.id != only_endpoint:
                continue
        elif endpoint.event_types and type not in endpoint.event_types:
            continue
        session.add(queued(row, endpoint.id, now))
    return event.id


def queued(event: OutboxEvent, endpoint_id: str, now: datetime) -> Delivery:
    """Return a delivery of an event, due now. Test events wait for no other."""
    return Delivery(
        event_id=event.id,
        endpoint_id=endpoint_id,
        tenant_id=event.tenant_id,
        subject=None if event.type == "webhook.test" else event.subject,
        created_at=event.created_at,
        queued_at=now,
        state="pending",
        tries=0,
        due_at=now,
    )
