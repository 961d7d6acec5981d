"""The outbox: events are written with what they tell of, and sent afterwards.

Delivery is at least once: a sender that dies between the receiver's answer and its own commit
sends again, under the same ``webhook-id``. Order is not promised.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import select, update
from sqlalchemy.orm import Session

from models.contract.webhook import EventType, WebhookData, WebhookEvent
from service.core.database import Database
from service.core.egress import Egress, EgressRefused, SendFailed
from service.core.identifiers import new_id
from service.core.signing import signed_headers
from service.core.tables import Delivery, OutboxEvent, WebhookEndpoint

RETRY_AFTER_S: tuple[float, ...] = (5, 300, 1800, 7200, 18000, 36000, 50400, 72000, 86400)
"""Waits after the first, second, … failed try: the example schedule of Standard Webhooks 1.0."""

BODY_TYPE = "application/cloudevents+json"
CLAIM_MARGIN_S = 15.0
"""A delivery is another sender's again so many seconds after its time-out."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What one try came to."""

    status: int | None
    error: str | None = None

    @property
    def delivered(self) -> bool:
        """Whether the receiver accepted it: 2xx, and nothing else."""
        return self.status is not None and 200 <= self.status < 300


@dataclass(frozen=True, slots=True)
class Next:
    """What follows a try. ``due_at`` is set while there is another try to come."""

    state: str
    due_at: datetime | None = None
    disable_endpoint: bool = False


def after_try(outcome: Outcome, tries: int, now: datetime) -> Next:
    """Decide what follows the ``tries``-th try (counted from 1)."""
    if outcome.delivered:
        return Next("delivered")
    if outcome.status == 410:  # Standard Webhooks: gone = stop sending here
        return Next("failed", disable_endpoint=True)
    if tries > len(RETRY_AFTER_S):
        return Next("failed")
    return Next("pending", now + timedelta(seconds=RETRY_AFTER_S[tries - 1]))


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
    event_id: str | None = None,
    only_endpoint: str | None = None,
) -> str:
    """Write an event and its deliveries in the caller's transaction; return its id.

    Parameters
    ----------
    clip_id, work_id, player_id : str or None
        What the event tells of: it is erased with each of them.
    event_id : str or None
        For events whose id follows from what they tell of; else a new one.
    only_endpoint : str or None
        Deliver to this endpoint alone, whatever it subscribes to (test events).
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
    session.add(
        OutboxEvent(
            id=event.id,
            tenant_id=tenant_id,
            created_at=now,
            type=type,
            clip_id=clip_id,
            work_id=work_id,
            player_id=player_id,
            body=body,
        )
    )
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
        session.add(
            Delivery(
                event_id=event.id,
                endpoint_id=endpoint.id,
                tenant_id=tenant_id,
                state="pending",
                tries=0,
                due_at=now,
            )
        )
    return event.id


@dataclass(frozen=True, slots=True)
class _Parcel:
    event_id: str
    endpoint_id: str
    tries: int
    url: str
    secrets: tuple[str, ...]
    body: str


class Sender:
    """Sends what is due. Several may run: each delivery is claimed by moving its due time."""

    def __init__(self, database: Database, egress: Egress, timeout_s: float) -> None:
        self._database = database
        self._egress = egress
        self._timeout = timeout_s

    def run_once(self, limit: int = 20) -> int:
        """Try up to ``limit`` due deliveries; return how many were tried."""
        done = 0
        while done < limit and (parcel := self._claim()) is not None:
            self._record(parcel, self._send(parcel))
            done += 1
        return done

    def run(self, stopped: Callable[[], bool], limit: int = 20) -> None:
        """Try everything that is due, until nothing is or a stop is asked for."""
        while self.run_once(limit) == limit and not stopped():
            pass

    def _claim(self) -> _Parcel | None:
        with self._database.read() as session:  # cheap look first: no write lock while idle
            now = self._database.now(session)
            due = select(Delivery.event_id).where(
                Delivery.state == "pending", Delivery.due_at <= now
            )
            if session.execute(due.limit(1)).first() is None:
                return None
        with self._database.write() as session:
            now = self._database.now(session)
            row = session.execute(
                select(Delivery, WebhookEndpoint, OutboxEvent)
                .join(WebhookEndpoint, WebhookEndpoint.id == Delivery.endpoint_id)
                .join(OutboxEvent, OutboxEvent.id == Delivery.event_id)
                .where(Delivery.state == "pending", Delivery.due_at <= now)
                .order_by(Delivery.due_at)
                .limit(1)
                .with_for_update(skip_locked=True, of=Delivery)
            ).first()
            if row is None:
                return None
            delivery, endpoint, event = row
            delivery.tries += 1
            delivery.last_tried_at = now
            delivery.due_at = now + timedelta(seconds=self._timeout + CLAIM_MARGIN_S)
            secrets = [endpoint.secret]
            until = endpoint.previous_secret_until
            if endpoint.previous_secret and until is not None and until > now:
                secrets.append(endpoint.previous_secret)
            return _Parcel(
                event.id, endpoint.id, delivery.tries, endpoint.url, tuple(secrets), event.body
            )

    def _send(self, parcel: _Parcel) -> Outcome:
        with self._database.read() as session:
            now = self._database.now(session)
        body = parcel.body.encode()
        headers = signed_headers(parcel.secrets, parcel.event_id, now, parcel.body)
        headers["content-type"] = BODY_TYPE
        headers["user-agent"] = "servewright-webhooks/1"
        try:
            return Outcome(self._egress.post(parcel.url, body, headers, self._timeout).status)
        except EgressRefused as error:
            return Outcome(None, f"target refused: {error}")
        except SendFailed as error:
            return Outcome(None, str(error))

    def _record(self, parcel: _Parcel, outcome: Outcome) -> None:
        with self._database.write() as session:
            now = self._database.now(session)
            following = after_try(outcome, parcel.tries, now)
            values: dict[str, object] = {
                "state": following.state,
                "last_status": outcome.status,
                "last_error": outcome.error and outcome.error[:255],
            }
            if following.due_at is not None:
                values["due_at"] = following.due_at
            session.execute(
                update(Delivery)
                .where(
                    Delivery.event_id == parcel.event_id,
                    Delivery.endpoint_id == parcel.endpoint_id,
                )
                .values(**values)
            )
            if following.disable_endpoint:
                session.execute(
                    update(WebhookEndpoint)
                    .where(WebhookEndpoint.id == parcel.endpoint_id)
                    .values(enabled=False, updated_at=now)
                )
