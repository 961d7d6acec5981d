"""Webhook endpoints: who wants to hear of what, and the secrets their messages are signed with."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from datetime import timedelta
from typing import Any
from urllib.parse import urlsplit

from sqlalchemy import select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from models.contract.errors import (
    EndpointExists,
    InvalidRequest,
    NotFound,
    RotationUnderWay,
)
from models.contract.note_codes import NoteCode, say
from models.contract.webhook import WebhookData
from service.core.database import Database
from service.core.egress import Egress, EgressRefused
from service.core.idempotency import forget_replies
from service.core.identifiers import new_id
from service.core.outbox import emit
from service.core.principal import Principal
from service.core.signing import new_secret
from service.core.tables import WebhookEndpoint

_PORTS = {"https": 443, "http": 80}


def address_digest(url: str) -> str:
    """Return the digest of an address in its normal form (RFC 3986 6.2.2, 6.2.3).

    Letters of scheme and host, a port that says nothing, a final dot and a fragment do not tell
    addresses apart.
    """
    parts = urlsplit(url)
    scheme, host = parts.scheme.lower(), (parts.hostname or "").rstrip(".")
    port = parts.port or _PORTS.get(scheme)
    form = f"{scheme}://{host}:{port}{parts.path or '/'}?{parts.query}"
    return hashlib.sha256(form.encode()).hexdigest()


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
        self._check_single(session, principal.tenant_id, url)
        row = WebhookEndpoint(
            id=new_id("whe"),
            tenant_id=principal.tenant_id,
            created_at=now,
            updated_at=now,
            url=url,
            url_digest=address_digest(url),
            failures=0,
            description=description,
            event_types=list(event_types),
            enabled=True,
            secret=new_secret(),
        )
        try:
            with session.begin_nested():
                session.add(row)
        except IntegrityError:  # the same address at the same moment
            self._check_single(session, principal.tenant_id, url)
            raise
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
            elsewhere = values.get("url", row.url) != row.url
            if elsewhere:
                self._check_single(session, row.tenant_id, values["url"], but=row.id)
            now = self._database.now(session)
            try:
                with session.begin_nested():
                    if elsewhere:
                        row.url_digest = address_digest(values["url"])
                    if elsewhere or values.get("enabled"):
                        row.failures, row.paused_until = 0, None  # a new start
                    if values.get("enabled"):
                        row.disabled_reason = row.disabled_at = None
                    for name, value in values.items():
                        setattr(row, name, value)
                    row.updated_at = now
            except IntegrityError:  # another one took the address at the same moment
                self._check_single(session, principal.tenant_id, values["url"], but=endpoint_id)
                raise
            return row

    def rotate_secret(
        self, session: Session, principal: Principal, endpoint_id: str, overlap: timedelta
    ) -> WebhookEndpoint:
        """Give an endpoint a new secret; messages bear both signatures during the overlap.

        Without overlap every former secret ends at once.

        Raises
        ------
        RotationUnderWay
            The secret before is still valid: a third would end it for receivers that use it.
        """
        row = self._find(session, principal, endpoint_id, lock=True)
        now = self._database.now(session)
        until = row.previous_secret_until
        if overlap and until is not None and until > now:
            raise RotationUnderWay(
                say(
                    NoteCode.SECRET_VALID_UNTIL,
                    endpoint=row.id,
                    until=until.isoformat(timespec="seconds"),
                ),
                about=row.id,
            )
        row.previous_secret = row.secret if overlap else None
        row.previous_secret_until = now + overlap if overlap else None
        row.secret = new_secret()
        row.updated_at = now
        return row

    def delete(
        self,
        principal: Principal,
        endpoint_id: str,
        unless_changed: Callable[[WebhookEndpoint], None] = lambda row: None,
    ) -> None:
        """Remove an endpoint and what waits to be sent to it."""
        with self._database.write() as session:
            row = self._find(session, principal, endpoint_id, lock=True)
            unless_changed(row)
            session.delete(row)
            forget_replies(session, [endpoint_id])

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

    def lock(self, session: Session, principal: Principal, endpoint_id: str) -> WebhookEndpoint:
        """Return an endpoint of this tenant with its row locked, or raise ``NotFound``."""
        return self._find(session, principal, endpoint_id, lock=True)

    def _check_single(
        self, session: Session, tenant_id: str, url: str, but: str | None = None
    ) -> None:
        """Raise when another endpoint of the organisation has this address."""
        other = session.scalars(
            select(WebhookEndpoint.id).where(
                WebhookEndpoint.tenant_id == tenant_id,
                WebhookEndpoint.url_digest == address_digest(url),
                WebhookEndpoint.id != (but or ""),
            )
        ).first()
        if other is not None:
            said = say(NoteCode.ENDPOINT_OF_ADDRESS, endpoint=other)
            raise EndpointExists(said, about=other, pointer="/url")

    def _find(
        self, session: Session, principal: Principal, endpoint_id: str, *, lock: bool = False
    ) -> WebhookEndpoint:
        query = select(WebhookEndpoint).where(
            WebhookEndpoint.id == endpoint_id, WebhookEndpoint.tenant_id == principal.tenant_id
        )
        row = session.scalars(
            query.with_for_update(key_share=True) if lock else query
        ).one_or_none()
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
