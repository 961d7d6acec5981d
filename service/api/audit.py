"""The audit log, for admins."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query, Request, Response

from models.contract.audit import ActorKind, AuditEntryResource, AuditPage
from models.contract.resources import PRINTABLE_PATTERN
from service.api.dependencies import CanAdminister, Paging, Wired
from service.api.list_filters import BeforeQuery, FromQuery
from service.api.routing import get_and_head
from service.core.account_tables import AuditEntry
from service.core.keyset import page

router = APIRouter(prefix="/v1/audit", tags=["keys"])
Wanted = Annotated[str | None, Query(max_length=100, pattern=PRINTABLE_PATTERN)]


@get_and_head(
    router,
    "",
    operation_id="list_audit_entries",
    summary="Read the audit log, newest first",
    response_model=AuditPage,
)
def list_audit_entries(
    request: Request,
    response: Response,
    wired: Wired,
    principal: CanAdminister,
    paging: Paging,
    actor_id: Wanted = None,
    action: Wanted = None,
    subject_id: Wanted = None,
    player_id: Wanted = None,
    created_from: FromQuery = None,
    created_before: BeforeQuery = None,
) -> AuditPage:
    """Read who read or changed what, and when. Entries hold ids only, are never changed, and stay
    when what they are about is erased. Calls that were refused are not in it.
    """
    equal = {
        "actor_id": actor_id,
        "action": action,
        "subject_id": subject_id,
        "player_id": player_id,
    }
    ranges = {"created_from": created_from, "created_before": created_before}
    asked: dict[str, Any] = {
        **{name: value for name, value in equal.items() if value is not None},
        **{name: moment.isoformat() for name, moment in ranges.items() if moment is not None},
    }
    narrowed = []
    if created_from is not None:
        narrowed.append(AuditEntry.created_at >= created_from)
    if created_before is not None:
        narrowed.append(AuditEntry.created_at < created_before)
    found = page(
        wired.database,
        AuditEntry,
        principal,
        after=paging.after("audit", asked),
        limit=paging.limit,
        filters=equal,
        narrowed=narrowed,
    )
    cursor = paging.finish(response, request.url.path, "audit", asked, found.next)
    items = tuple(
        AuditEntryResource(
            id=row.id,
            at=row.created_at,
            actor_kind=ActorKind(row.actor_kind),
            actor_id=row.actor_id,
            action=row.action,
            subject_id=row.subject_id,
            player_id=row.player_id,
        )
        for row in found.rows
    )
    return AuditPage(items=items, next_cursor=cursor)
