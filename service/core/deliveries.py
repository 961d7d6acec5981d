"""The queue of webhook deliveries in the database: what is due to whom, and what came of it.

Rules, kept under the lock of the endpoint's row, whatever number of senders run:

- An endpoint has at most so many requests at a time; while it does not answer, one, and none
  while it rests.
- Events of one subject go to an endpoint one after the other, in the order in which they happened:
  the next waits until the one before was accepted or given up. Test events wait for nobody.
- Endpoints take turns, so that one with much waiting delays no other.

Delivery is at least once: a sender that dies between the receiver's answer and its own commit
sends again, under the same ``webhook-id``.
"""

from __future__ import annotations

from datetime import datetime, timedelta

from sqlalchemy import ColumnElement, and_, exists, func, or_, select, tuple_, update
from sqlalchemy.orm import Session, aliased

from models.contract.webhook import WebhookData
from service.core.database import Database
from service.core.delivery_log import note_try
from service.core.outbox import emit
from service.core.parcel import Parcel
from service.core.retries import GIVE_UP_AFTER, Outcome, after_try, rest_after
from service.core.tables import Delivery, OutboxEvent, WebhookEndpoint

WAITING = ("pending", "sending")
CLAIM_MARGIN_S = 15.0
"""A delivery is another sender's again so many seconds after its time-out."""
GONE_REASON = "gone"


def _claimable(now: datetime) -> ColumnElement[bool]:
    return and_(Delivery.state.in_(WAITING), Delivery.due_at <= now)


def _open(now: datetime, *, doubtful: bool) -> ColumnElement[bool]:
    """Return the condition that an endpoint may be sent to and has something due."""
    due = exists().where(Delivery.endpoint_id == WebhookEndpoint.id, _claimable(now))
    rested = or_(WebhookEndpoint.paused_until.is_(None), WebhookEndpoint.paused_until <= now)
    trusted = WebhookEndpoint.failures == 0
    return and_(WebhookEndpoint.enabled, rested, due, *(() if doubtful else (trusted,)))


class DeliveryQueue:
    """Hands out deliveries and records what came of them.

    Parameters
    ----------
    timeout_s : float
        How long a try may take.
    at_a_time : int
        Most requests to one endpoint at a time.
    public_url : str
        Base of the links in events.
    """

    def __init__(
        self, database: Database, timeout_s: float, at_a_time: int, public_url: str = ""
    ) -> None:
        self._database = database
        self._lease = timedelta(seconds=timeout_s + CLAIM_MARGIN_S)
        self._at_a_time = at_a_time
        self._public_url = public_url.rstrip("/")

    def claim(self, *, doubtful: bool = True) -> Parcel | None:
        """Take what is to be sent next; None when nothing is.

        Parameters
        ----------
        doubtful : bool
            Whether endpoints that did not answer the last time may have their turn.
        """
        with self._database.read() as session:  # cheap look first: no write lock while idle
            now = self._database.now(session)
            wanted = select(WebhookEndpoint.id).where(_open(now, doubtful=doubtful)).limit(1)
            if session.execute(wanted).first() is None:
                return None
        passed: set[str] = set()
        with self._database.write() as session:
            now = self._database.now(session)
            while True:
                endpoint = session.scalars(
                    select(WebhookEndpoint)
                    .where(_open(now, doubtful=doubtful), WebhookEndpoint.id.not_in(passed))
                    .order_by(WebhookEndpoint.last_claimed_at.nulls_first(), WebhookEndpoint.id)
                    .limit(1)
                    .with_for_update(skip_locked=True, key_share=True)
                ).first()
                if endpoint is None:
                    return None
                parcel = self._take(session, endpoint, now)
                if parcel is not None:
                    return parcel
                passed.add(endpoint.id)

    def _take(self, session: Session, endpoint: WebhookEndpoint, now: datetime) -> Parcel | None:
        """Take the next delivery of an endpoint whose row is locked."""
        under_way = session.execute(
            select(func.count())
            .select_from(Delivery)
            .where(
                Delivery.endpoint_id == endpoint.id,
                Delivery.state == "sending",
                Delivery.due_at > now,
            )
        ).scalar_one()
        if under_way >= (1 if endpoint.failures else self._at_a_time):
            return None
        before = aliased(Delivery)
        behind = exists().where(
            before.endpoint_id == Delivery.endpoint_id,
            before.subject == Delivery.subject,
            before.state.in_(WAITING),
            tuple_(before.created_at, before.event_id)
            < tuple_(Delivery.created_at, Delivery.event_id),
        )
        row = session.execute(
            select(Delivery, OutboxEvent)
            .join(OutboxEvent, OutboxEvent.id == Delivery.event_id)
            .where(Delivery.endpoint_id == endpoint.id, _claimable(now), ~behind)
            .order_by(Delivery.due_at, Delivery.created_at, Delivery.event_id)
            .limit(1)
            .with_for_update(skip_locked=True, of=Delivery)
        ).first()
        if row is None:
            return None
        delivery, event = row
        delivery.state = "sending"
        delivery.tries += 1
        delivery.last_tried_at = now
        delivery.due_at = now + self._lease
        endpoint.last_claimed_at = now
        secrets = [endpoint.secret]
        until = endpoint.previous_secret_until
        if endpoint.previous_secret and until is not None and until > now:
            secrets.append(endpoint.previous_secret)
        return Parcel(
            event_id=event.id,
            endpoint_id=endpoint.id,
            tenant_id=endpoint.tenant_id,
            tries=delivery.tries,
            url=endpoint.url,
            secrets=tuple(secrets),
            body=event.body,
            doubtful=endpoint.failures > 0,
            event_type=event.type,
            traceparent=event.traceparent,
        )

    def record(self, parcel: Parcel, headers: dict[str, str], outcome: Outcome) -> None:
        """Note a try, and decide what follows; nothing when the event or endpoint is gone."""
        with self._database.write() as session:
            now = self._database.now(session)
            endpoint = session.get(
                WebhookEndpoint, parcel.endpoint_id, with_for_update={"key_share": True}
            )
            delivery = session.get(
                Delivery, (parcel.event_id, parcel.endpoint_id), with_for_update=True
            )
            if endpoint is None or delivery is None:
                return
            note_try(session, parcel, headers, outcome, now)
            if delivery.state == "sending" and delivery.tries == parcel.tries:
                following = after_try(outcome, parcel.tries, now)
                delivery.state = following.state
                delivery.due_at = following.due_at or delivery.due_at
                delivery.last_status = outcome.status
                delivery.last_error = outcome.error and outcome.error[:255]
            if endpoint.url != parcel.url:  # it says nothing about the new address
                return
            endpoint.failures = endpoint.failures + 1 if outcome.away else 0
            rest = rest_after(outcome, endpoint.failures)
            endpoint.paused_until = None if rest is None else now + rest
            if rest is not None:
                self._give_up_old(session, endpoint, now)
            if after_try(outcome, parcel.tries, now).disable_endpoint and endpoint.enabled:
                self._disable(session, endpoint, now)

    def _give_up_old(self, session: Session, endpoint: WebhookEndpoint, now: datetime) -> None:
        """Give up what waited as long as its tries would have taken."""
        session.execute(
            update(Delivery)
            .where(
                Delivery.endpoint_id == endpoint.id,
                Delivery.state == "pending",
                Delivery.queued_at < now - GIVE_UP_AFTER,
            )
            .values(state="failed", last_error="given up: the receiver did not answer for too long")
        )

    def _disable(self, session: Session, endpoint: WebhookEndpoint, now: datetime) -> None:
        """Switch an endpoint off that said it is gone, and tell the organisation's others."""
        endpoint.enabled = False
        endpoint.disabled_reason = GONE_REASON
        endpoint.disabled_at = endpoint.updated_at = now
        session.flush()
        here = f"{self._public_url}/v1/webhook-endpoints"
        emit(
            session,
            now,
            tenant_id=endpoint.tenant_id,
            type="endpoint.disabled",
            source=here,
            subject=endpoint.id,
            data=WebhookData(
                resource="endpoint",
                id=endpoint.id,
                links={
                    "self": f"{here}/{endpoint.id}",
                    "deliveries": f"{here}/{endpoint.id}/deliveries",
                },
                headline={"reason": GONE_REASON, "status": 410},
            ),
        )
