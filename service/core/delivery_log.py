"""The log of webhook deliveries: each try, bounded and without secrets; and sending again."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import delete, or_, select, tuple_
from sqlalchemy.orm import Session

from models.contract.errors import InvalidRequest, NotFound
from models.contract.note_codes import NoteCode, say
from service.core.database import Database
from service.core.identifiers import new_id
from service.core.keyset import Position
from service.core.outbox import queued
from service.core.parcel import Parcel
from service.core.retries import Outcome
from service.core.tables import Delivery, OutboxEvent, SendTry, WebhookEndpoint

MAX_BODY = 1024
"""Characters of an answer that are kept: enough for a message of an error (working value)."""
MAX_FIELD = 200
"""Characters of one header kept in the log (working value)."""
SHOWN_FIELDS = ("content-type", "content-length", "date", "retry-after", "server")
"""Header fields of an answer that are kept. Never Set-Cookie or anything that lets one in."""
MAX_TRIES_SHOWN = 50
"""Attempts of one event that the log shows, latest first (working value)."""
MAX_REPLAY = 1000
"""Most events that one request sends again (working value)."""
REMOVED = "[removed]"
_API_KEY = re.compile(r"sw_[0-9a-f]{16}_[0-9a-f]{64}(_[0-9a-f]{8})?")


def without_secrets(text: str, secrets: Sequence[str]) -> str:
    """Return a text with every secret in it taken out, API keys of this service included."""
    for secret in secrets:
        for form in (secret, secret.removeprefix("whsec_"), secret.partition(",")[2]):
            if form:
                text = text.replace(form, REMOVED)
    return _API_KEY.sub(REMOVED, text)


def note_try(
    session: Session,
    parcel: Parcel,
    headers: Mapping[str, str],
    outcome: Outcome,
    now: datetime,
) -> None:
    """Enter a try in the log."""
    signatures = headers["webhook-signature"].split()
    secrets = (*parcel.secrets, *signatures)
    answer, body = {}, None
    if outcome.status is not None:
        body = outcome.body.decode(errors="replace").replace("\x00", "\ufffd")
        # Cut last: a secret that is cut in two would not be found.
        body = without_secrets(body, secrets)[:MAX_BODY]
        answer = {
            name: without_secrets(outcome.headers[name], secrets)[:MAX_FIELD]
            for name in SHOWN_FIELDS
            if name in outcome.headers
        }
    session.add(
        SendTry(
            id=new_id("try"),
            tenant_id=parcel.tenant_id,
            event_id=parcel.event_id,
            endpoint_id=parcel.endpoint_id,
            number=parcel.tries,
            tried_at=now,
            took_s=outcome.took_s,
            url=parcel.url,
            request_headers={
                **headers,
                "webhook-signature": " ".join(f"v1,{REMOVED}" for _ in signatures),
            },
            status=outcome.status,
            response_headers=answer,
            response_body=body,
            error=outcome.error and outcome.error[:255],
        )
    )


def forget_tries(session: Session, before: datetime) -> None:
    """Remove tries of before a moment."""
    session.execute(delete(SendTry).where(SendTry.tried_at < before))


@dataclass(frozen=True, slots=True)
class Found:
    """A delivery with its event."""

    delivery: Delivery
    event: OutboxEvent


class DeliveryLog:
    """Reads the log of an endpoint, and sends events of it again."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def page(
        self,
        endpoint_id: str,
        *,
        after: Position | None,
        limit: int,
        state: str | None = None,
        created_from: datetime | None = None,
        created_before: datetime | None = None,
    ) -> tuple[list[Found], Position | None]:
        """Return deliveries, newest event first, and where to go on."""
        query = (
            select(Delivery, OutboxEvent)
            .join(OutboxEvent, OutboxEvent.id == Delivery.event_id)
            .where(Delivery.endpoint_id == endpoint_id)
        )
        if state is not None:
            query = query.where(Delivery.state == state)
        if created_from is not None:
            query = query.where(Delivery.created_at >= created_from)
        if created_before is not None:
            query = query.where(Delivery.created_at < created_before)
        key = (Delivery.created_at, Delivery.event_id)
        if after is not None:
            query = query.where(tuple_(*key) < (after.created_at, after.id))
        query = query.order_by(*(column.desc() for column in key)).limit(limit + 1)
        with self._database.read() as session:
            found = [Found(*row) for row in session.execute(query)]
        kept = found[:limit]
        if len(found) <= limit:
            return kept, None
        return kept, Position(kept[-1].delivery.created_at, kept[-1].delivery.event_id)

    def get(self, endpoint_id: str, event_id: str) -> tuple[Found, Sequence[SendTry]]:
        """Return a delivery and its latest tries, newest first, or raise ``NotFound``."""
        with self._database.read() as session:
            row = session.execute(
                select(Delivery, OutboxEvent)
                .join(OutboxEvent, OutboxEvent.id == Delivery.event_id)
                .where(Delivery.endpoint_id == endpoint_id, Delivery.event_id == event_id)
            ).first()
            if row is None:
                raise NotFound()
            tries = session.scalars(
                select(SendTry)
                .where(SendTry.endpoint_id == endpoint_id, SendTry.event_id == event_id)
                .order_by(SendTry.tried_at.desc(), SendTry.id.desc())
                .limit(MAX_TRIES_SHOWN)
            ).all()
        return Found(*row), tries

    def replay(
        self,
        session: Session,
        endpoint: WebhookEndpoint,
        *,
        event_id: str | None = None,
        created_from: datetime | None = None,
        created_before: datetime | None = None,
        states: Sequence[str] = (),
    ) -> int:
        """Queue events again under their ids; return how many.

        One event must have been for this endpoint. A range takes what was for it, and what it
        would have been sent had it been registered then; what is being sent is left alone.

        Raises
        ------
        NotFound
            No such event for this endpoint.
        InvalidRequest
            More than :data:`MAX_REPLAY` events.
        """
        mine = select(OutboxEvent, Delivery).outerjoin(
            Delivery,
            (Delivery.event_id == OutboxEvent.id) & (Delivery.endpoint_id == endpoint.id),
        )
        mine = mine.where(OutboxEvent.tenant_id == endpoint.tenant_id)
        if event_id is not None:
            mine = mine.where(OutboxEvent.id == event_id, Delivery.event_id.is_not(None))
        else:
            assert created_from is not None
            mine = mine.where(OutboxEvent.created_at >= created_from)
            if created_before is not None:
                mine = mine.where(OutboxEvent.created_at < created_before)
            wanted = OutboxEvent.type != "webhook.test"
            if endpoint.event_types:
                wanted &= OutboxEvent.type.in_(endpoint.event_types)
            mine = mine.where(or_(Delivery.event_id.is_not(None), wanted))
            if states:
                mine = mine.where(Delivery.state.in_(states))
        mine = mine.order_by(OutboxEvent.created_at, OutboxEvent.id).limit(MAX_REPLAY + 1)
        rows: list[tuple[OutboxEvent, Delivery | None]] = [
            (event, delivery) for event, delivery in session.execute(mine)
        ]
        if event_id is not None and not rows:
            raise NotFound()
        if len(rows) > MAX_REPLAY:
            raise InvalidRequest(
                say(NoteCode.REPLAY_TOO_MANY, most=MAX_REPLAY), pointer="/created_before"
            )
        now, count = self._database.now(session), 0
        for event, delivery in rows:
            if delivery is not None and delivery.state == "sending" and delivery.due_at > now:
                continue
            count += 1
            if delivery is None:
                session.add(queued(event, endpoint.id, now))
                continue
            delivery.state, delivery.tries = "pending", 0
            delivery.due_at = delivery.queued_at = now
        return count
