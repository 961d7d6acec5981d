"""The log of a webhook endpoint, and sending its events again."""

from __future__ import annotations

import json
from datetime import datetime
from typing import Annotated, Any

from fastapi import APIRouter, Path, Query, Request, Response
from sqlalchemy.orm import Session

from models.contract.coaching import Moment
from models.contract.deliveries import (
    DeliveryPage,
    DeliveryResource,
    DeliveryState,
    DeliveryTry,
    DeliveryWithTries,
    EventId,
    EventReplay,
    EventsReplayed,
    ReceivedResponse,
    SentRequest,
)
from service.api.dependencies import (
    CanManageWebhooks,
    IdempotencyKey,
    Paging,
    Wired,
    represent,
)
from service.api.routing import create_once, get_and_head
from service.api.webhooks import EndpointPath
from service.core import tables
from service.core.delivery_log import Found
from service.core.idempotency import Created

router = APIRouter(prefix="/v1/webhook-endpoints", tags=["webhooks"])

EventPath = Annotated[EventId, Path(examples=["evt_0198f0a1b2c37d4e8f90a1b2c3d4e5f6"])]
StateQuery = Annotated[DeliveryState | None, Query()]
FromQuery = Annotated[Moment | None, Query(description="Events of this moment or later.")]
BeforeQuery = Annotated[Moment | None, Query(description="Events before this moment.")]


def _facts(found: Found) -> dict[str, Any]:
    row = found.delivery
    here = f"/v1/webhook-endpoints/{row.endpoint_id}"
    return {
        "event_id": row.event_id,
        "type": found.event.type,
        "subject": found.event.subject,
        "state": row.state,
        "created_at": row.created_at,
        "queued_at": row.queued_at,
        "next_try_at": row.due_at if row.state == "pending" else None,
        "tries": row.tries,
        "last_tried_at": row.last_tried_at,
        "last_status": row.last_status,
        "last_error": row.last_error,
        "links": {"self": f"{here}/deliveries/{row.event_id}", "endpoint": here},
    }


def _try(row: tables.SendTry) -> DeliveryTry:
    response = None
    if row.status is not None:
        response = ReceivedResponse(
            status=row.status, headers=row.response_headers, body=row.response_body or ""
        )
    return DeliveryTry(
        number=row.number,
        tried_at=row.tried_at,
        took_s=row.took_s,
        request=SentRequest(url=row.url, headers=row.request_headers),
        response=response,
        error=row.error,
    )


def _text(moment: datetime | None) -> str | None:
    return moment.isoformat() if moment else None


@get_and_head(
    router,
    "/{endpoint_id}/deliveries",
    operation_id="list_webhook_deliveries",
    summary="List what was sent to a webhook endpoint",
    response_model=DeliveryPage,
)
def list_deliveries(
    request: Request,
    response: Response,
    wired: Wired,
    principal: CanManageWebhooks,
    endpoint_id: EndpointPath,
    paging: Paging,
    state: StateQuery = None,
    created_from: FromQuery = None,
    created_before: BeforeQuery = None,
) -> DeliveryPage:
    """List the events for an endpoint with what became of them, newest first."""
    endpoint = wired.endpoints.get(principal, endpoint_id)
    in_query = {
        "state": state,
        "created_from": _text(created_from),
        "created_before": _text(created_before),
    }
    bound = {"endpoint_id": endpoint_id, **in_query}
    found, following = wired.deliveries.page(
        endpoint_id,
        after=paging.after("deliveries", bound),
        limit=paging.limit,
        state=state,
        created_from=created_from,
        created_before=created_before,
    )
    cursor = paging.finish(response, request.url.path, "deliveries", bound, following, in_query)
    items = tuple(DeliveryResource(**_facts(one)) for one in found)
    return DeliveryPage(items=items, next_cursor=cursor, resting_until=endpoint.paused_until)


@get_and_head(
    router,
    "/{endpoint_id}/deliveries/{event_id}",
    operation_id="read_webhook_delivery",
    summary="Read what was sent and answered",
    response_model=DeliveryWithTries,
)
def read_delivery(
    request: Request,
    wired: Wired,
    principal: CanManageWebhooks,
    endpoint_id: EndpointPath,
    event_id: EventPath,
) -> Response:
    """Read an event as it is sent, and its latest tries with request and response.

    Signatures, signing secrets and API keys are taken out. Tries are kept for 30 days unless the
    operator says otherwise; they go with what the event tells of when that is erased.
    """
    wired.endpoints.get(principal, endpoint_id)
    found, tries = wired.deliveries.get(endpoint_id, event_id)
    shown = DeliveryWithTries(
        **_facts(found),
        body=json.loads(found.event.body),
        log=tuple(_try(row) for row in tries),
    )
    return represent(request, shown)


@router.post(
    "/{endpoint_id}/replay",
    operation_id="replay_webhook_events",
    summary="Send events again",
    status_code=202,
    response_model=EventsReplayed,
)
def replay(
    request: Request,
    wired: Wired,
    principal: CanManageWebhooks,
    endpoint_id: EndpointPath,
    body: EventReplay,
    key: IdempotencyKey,
) -> Response:
    """Send one event again, or all of a range of time (at most 1,000), under the same ids.

    A range takes what this endpoint was sent, and what it would have been sent had it been
    registered then. The order within a subject is kept.
    """

    def effect(session: Session) -> Created:
        endpoint = wired.endpoints.lock(session, principal, endpoint_id)
        count = wired.deliveries.replay(session, endpoint, **body.model_dump())
        return Created(str(count), 202)  # what a repeat is to be told again

    return create_once(
        request,
        wired,
        principal,
        key,
        route=f"POST /v1/webhook-endpoints/{endpoint_id}/replay",
        body=body.model_dump(mode="json"),
        effect=effect,
        show=lambda reply: EventsReplayed(events=int(reply.resource_id)),
        location=lambda _shown: None,
    )
