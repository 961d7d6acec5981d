"""Webhook endpoints: where events are sent."""

from __future__ import annotations

from datetime import timedelta
from typing import Annotated, Any, cast

from fastapi import APIRouter, Path, Request, Response
from pydantic import BaseModel
from sqlalchemy.orm import Session

from models.contract.deliveries import SecretRotation
from models.contract.resources import (
    EndpointId,
    WebhookEndpointChange,
    WebhookEndpointCreated,
    WebhookEndpointPage,
    WebhookEndpointRequest,
    WebhookEndpointResource,
)
from models.contract.webhook import EventType
from service.api.dependencies import (
    CanManageWebhooks,
    IdempotencyKey,
    IfMatch,
    MayMatch,
    Paging,
    Wired,
    heed_match,
    represent,
    require_match,
)
from service.api.listing import listed
from service.api.routing import create_once, get_and_head
from service.core.idempotency import Created
from service.core.tables import WebhookEndpoint

router = APIRouter(prefix="/v1/webhook-endpoints", tags=["webhooks"])

EndpointPath = Annotated[EndpointId, Path(examples=["whe_0198f0a1b2c37d4e8f90a1b2c3d4e5f6"])]


class TestEventSent(BaseModel):
    """A test event is on its way."""

    event_id: str


def _facts(row: WebhookEndpoint) -> dict[str, Any]:
    return {
        "id": row.id,
        "url": row.url,
        "description": row.description,
        "event_types": cast(tuple[EventType, ...], tuple(row.event_types)),
        "enabled": row.enabled,
        "disabled_reason": row.disabled_reason,
        "disabled_at": row.disabled_at,
        "previous_secret_until": row.previous_secret_until,
        "created_at": row.created_at,
        "updated_at": row.updated_at,
        "links": {
            "self": f"/v1/webhook-endpoints/{row.id}",
            "deliveries": f"/v1/webhook-endpoints/{row.id}/deliveries",
        },
    }


def endpoint_resource(row: WebhookEndpoint) -> WebhookEndpointResource:
    """Return an endpoint row as a resource, without its secret."""
    return WebhookEndpointResource(**_facts(row))


def _with_secret(row: WebhookEndpoint) -> WebhookEndpointCreated:
    return WebhookEndpointCreated(**_facts(row), secret=row.secret)


@router.post(
    "",
    operation_id="create_webhook_endpoint",
    summary="Register a webhook endpoint",
    status_code=201,
    response_model=WebhookEndpointCreated,
)
def create_endpoint(
    request: Request,
    wired: Wired,
    principal: CanManageWebhooks,
    body: WebhookEndpointRequest,
    key: IdempotencyKey,
) -> Response:
    """Register an address for events. The secret in the answer is shown only here.

    Events are signed by the Standard Webhooks headers. They may arrive more than once (same
    `webhook-id`). Those of one subject (an analysis, a player) arrive in the order in which they
    happened; between subjects there is no order. Failed tries are repeated after 5 s, 5 min,
    30 min, 2, 5, 10, 14, 20 and 24 h; only 2xx counts as accepted. An endpoint that answers 410 is
    switched off, and the others are told by `endpoint.disabled`. An address can be registered once
    (409 `endpoint_exists`).
    """

    def effect(session: Session) -> str:
        return wired.endpoints.create(
            session, principal, body.url, body.description, body.event_types
        ).id

    return create_once(
        request,
        wired,
        principal,
        key,
        route="POST /v1/webhook-endpoints",
        body=body.model_dump(mode="json"),
        effect=effect,
        show=lambda reply: _with_secret(wired.endpoints.get(principal, reply.resource_id)),
    )


@get_and_head(
    router,
    "",
    operation_id="list_webhook_endpoints",
    summary="List webhook endpoints",
    response_model=WebhookEndpointPage,
)
def list_endpoints(
    request: Request,
    response: Response,
    wired: Wired,
    principal: CanManageWebhooks,
    paging: Paging,
) -> WebhookEndpointPage:
    """List endpoints, newest first."""
    rows, cursor = listed(
        request, response, wired, principal, paging, WebhookEndpoint, "webhook-endpoints"
    )
    return WebhookEndpointPage(items=tuple(map(endpoint_resource, rows)), next_cursor=cursor)


@get_and_head(
    router,
    "/{endpoint_id}",
    operation_id="read_webhook_endpoint",
    summary="Read a webhook endpoint",
    response_model=WebhookEndpointResource,
)
def read_endpoint(
    request: Request, wired: Wired, principal: CanManageWebhooks, endpoint_id: EndpointPath
) -> Response:
    """Read an endpoint; its ETag is needed to change it."""
    return represent(request, endpoint_resource(wired.endpoints.get(principal, endpoint_id)))


@router.patch(
    "/{endpoint_id}",
    operation_id="change_webhook_endpoint",
    summary="Change a webhook endpoint",
    response_model=WebhookEndpointResource,
)
def change_endpoint(
    request: Request,
    wired: Wired,
    principal: CanManageWebhooks,
    endpoint_id: EndpointPath,
    body: WebhookEndpointChange,
    if_match: IfMatch = None,
) -> Response:
    """Change address, description, event types, or switch it on and off."""
    values = body.model_dump(exclude_unset=True)
    for name in ("url", "event_types", "enabled"):  # null = leave it as it is
        if values.get(name, ...) is None:
            del values[name]
    if "event_types" in values:
        values["event_types"] = list(values["event_types"])
    row = wired.endpoints.change(
        principal,
        endpoint_id,
        values,
        lambda present: require_match(request, endpoint_resource(present)),
    )
    return represent(request, endpoint_resource(row))


@router.post(
    "/{endpoint_id}/rotate-secret",
    operation_id="rotate_webhook_secret",
    summary="Replace the secret",
    response_model=WebhookEndpointCreated,
)
def rotate_secret(
    request: Request,
    wired: Wired,
    principal: CanManageWebhooks,
    endpoint_id: EndpointPath,
    key: IdempotencyKey,
    body: SecretRotation | None = None,
) -> Response:
    """Make a new secret. For `overlap_hours` (24 unless said otherwise) every message bears a
    signature of the former one as well; with 0 the former ends at once. While two are valid there
    is no third (409 `rotation_under_way`).
    """
    wanted = body or SecretRotation()
    overlap = timedelta(hours=wanted.overlap_hours)

    def effect(session: Session) -> Created:
        row = wired.endpoints.rotate_secret(session, principal, endpoint_id, overlap)
        return Created(row.id, 200)

    return create_once(
        request,
        wired,
        principal,
        key,
        route=f"POST /v1/webhook-endpoints/{endpoint_id}/rotate-secret",
        body=wanted.model_dump(mode="json"),
        effect=effect,
        show=lambda _reply: _with_secret(wired.endpoints.get(principal, endpoint_id)),
        location=lambda _shown: None,
    )


@router.post(
    "/{endpoint_id}/test",
    operation_id="test_webhook_endpoint",
    summary="Send a test event",
    status_code=202,
    response_model=TestEventSent,
)
def send_test(
    request: Request,
    wired: Wired,
    principal: CanManageWebhooks,
    endpoint_id: EndpointPath,
    key: IdempotencyKey,
) -> Response:
    """Send a `webhook.test` event to this endpoint alone."""

    def effect(session: Session) -> Created:
        return Created(wired.endpoints.send_test(session, principal, endpoint_id), 202)

    return create_once(
        request,
        wired,
        principal,
        key,
        route=f"POST /v1/webhook-endpoints/{endpoint_id}/test",
        body=None,
        effect=effect,
        show=lambda reply: TestEventSent(event_id=reply.resource_id),
        location=lambda _shown: None,
    )


@router.delete(
    "/{endpoint_id}",
    operation_id="delete_webhook_endpoint",
    summary="Remove a webhook endpoint",
    status_code=204,
)
def delete_endpoint(
    request: Request,
    wired: Wired,
    principal: CanManageWebhooks,
    endpoint_id: EndpointPath,
    _if_match: MayMatch = None,
) -> Response:
    """Remove an endpoint and what waits to be sent to it."""
    wired.endpoints.delete(
        principal, endpoint_id, lambda row: heed_match(request, endpoint_resource(row))
    )
    return Response(status_code=204)
