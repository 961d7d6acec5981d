"""Webhook endpoints: who wants to hear of what, and the secrets their messages are signed with."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from models.contract.errors import InvalidRequest, NotFound
from models.contract.note_codes import NoteCode, say
from models.contract.webhook import WebhookData
from service.core.database import Database
from service.core.egress import Egress, EgressRefused
from service.core.identifiers import new_id
from service.core.outbox import emit
from service.core.principal import Principal
from service.core.signing import new_secret
from service.core.tables import WebhookEndpoint

SECRET_OVERLAP = timedelta(hours=24)
"""How long the former secret signs as well after a new one was made (working value)."""


class EndpointStore:
    """Registers and changes endpoints."""

    def __init__(self, database: Database, egress: Egress, public_url: str = "") -> None:
        self._database = database
        self._egress = egress
        self._public_url = public_url.rstrip("/")

    def create(
        self,
        session: Session,
        principal: Principal,
        url: str,
        description: str | None,
        event_types: tuple[str, ...],
    ) -> WebhookEndpoint:
        """Enter an endpoint in the caller's transaction."""
        self._check(url)
        now = self._database.now(session)
        row = WebhookEndpoint(
            id=new_id("whe"),
            tenant_id=principal.tenant_id,
            created_at=now,
            updated_at=now,
            url=url,
            description=description,
            event_types=list(event_types),
            enabled=True,
            secret=new_secret(),
        )
        session.add(row)
        session.flush()
        return row

    def get(self, principal: Principal, endpoint_id: str) -> WebhookEndpoint:
        """Return an endpoint of this tenant, or raise ``NotFound``."""
        with self._database.read() as session:
            return self._find(session, principal, endpoint_id)

    def change(
        self, principal: Principal, endpoint_id: str, values: Mapping[str, Any], unless_changed: Any
    ) -> WebhookEndpoint:
        """Change columns. ``unless_changed(row)`` may raise when the row is not as expected."""
        if values.get("url") is not None:
            self._check(values["url"])
        with self._database.write() as session:
            row = self._find(session, principal, endpoint_id, lock=True)
            unless_changed(row)
            for name, value in values.items():
                setattr(row, name, value)
            row.updated_at = self._database.now(session)
            return row

    def rotate_secret(
        self, session: Session, principal: Principal, endpoint_id: str
    ) -> WebhookEndpoint:
        """Give an endpoint a new secret; messages bear both signatures for a day."""
        row = self._find(session, principal, endpoint_id, lock=True)
        now = self._database.now(session)
        row.previous_secret = row.secret
        row.previous_secret_until = now + SECRET_OVERLAP
        row.secret = new_secret()
        row.updated_at = now
        return row

    def delete(self, principal: Principal, endpoint_id: str) -> None:
        """Remove an endpoint and what waits to be sent to it."""
        with self._database.write() as session:
            session.delete(self._find(session, principal, endpoint_id, lock=True))

    def send_test(self, session: Session, principal: Principal, endpoint_id: str) -> str:
        """Queue a test event for one endpoint; return the event's id."""
        row = self._find(session, principal, endpoint_id)
        return emit(
            session,
            self._database.now(session),
            tenant_id=principal.tenant_id,
            type="webhook.test",
            source=f"{self._public_url}/v1/webhook-endpoints",
            subject=row.id,
            data=WebhookData(resource="endpoint", id=row.id),
            only_endpoint=row.id,
        )

    def _find(
        self, session: Session, principal: Principal, endpoint_id: str, *, lock: bool = False
    ) -> WebhookEndpoint:
        query = select(WebhookEndpoint).where(
            WebhookEndpoint.id == endpoint_id, WebhookEndpoint.tenant_id == principal.tenant_id
        )
        row = session.scalars(query.with_for_update() if lock else query).one_or_none()
        if row is None:
            raise NotFound()
        return row

    def _check(self, url: str) -> None:
        try:
            self._egress.check_url(url)
        except EgressRefused as error:
            raise InvalidRequest(
                say(NoteCode.EVENTS_REFUSED, reason=str(error)),
                pointer="/url",
            ) from None
