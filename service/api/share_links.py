"""Share links: addresses under which results are read without a key."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Path, Request, Response
from sqlalchemy.orm import Session

from models.contract.shares import (
    ShareId,
    ShareLinkCreated,
    ShareLinkPage,
    ShareLinkRequest,
    ShareLinkResource,
)
from service.api.dependencies import CanManageShares, IdempotencyKey, Paging, Wired, represent
from service.api.keys import Minting
from service.api.listing import listed
from service.api.routing import create_once, get_and_head
from service.core.idempotency import Reply
from service.core.identifiers import new_id
from service.core.link_text import link_text
from service.core.share_links import state_of_share
from service.core.tables import ShareLink
from service.core.wiring import Wiring

router = APIRouter(prefix="/v1/share-links", tags=["links"])
SharePath = Annotated[ShareId, Path(examples=["shr_0198f0a1b2c37d4e8f90a1b2c3d4e5f6"])]


def _fields(wired: Wiring, row: ShareLink) -> dict[str, Any]:
    return {
        "id": row.id,
        "of": row.work_id,
        "files": row.files,
        "state": state_of_share(row, wired.share_links.now()),
        "created_at": row.created_at,
        "expires_at": row.expires_at,
        "revoked_at": row.revoked_at,
        "views": row.views,
        "last_viewed_at": row.last_viewed_at,
        "links": {"self": f"/v1/share-links/{row.id}"},
    }


@router.post(
    "",
    operation_id="create_share_link",
    summary="Make a share link",
    status_code=201,
    response_model=ShareLinkCreated,
)
def create_share_link(
    request: Request,
    wired: Wired,
    principal: CanManageShares,
    body: ShareLinkRequest,
    key: IdempotencyKey,
) -> Response:
    """Make an address under which the report or a film of an analysis, or the report of a
    comparison, progress, plan or drill check, is read without a key, on a page with the cautions.
    Nothing else can be reached by it. The address is shown only here; the service keeps a digest.
    """
    route = "POST /v1/share-links"
    minting = Minting(request, principal, route, key)

    def effect(session: Session) -> str:
        link_id = new_id("shr")
        secret = minting.secret(link_id)
        return wired.share_links.enter(session, principal, body, secret, link_id).id

    def show(reply: Reply) -> ShareLinkCreated:
        secret = minting.secret(reply.resource_id)
        wired.share_links.require_secret(principal, reply.resource_id, secret)
        fields = _fields(wired, wired.share_links.get(principal, reply.resource_id))
        text = link_text(request.app.state.link_secret(), reply.resource_id, secret)
        url = f"{wired.settings.public_url.rstrip('/')}/s/{text}"
        return ShareLinkCreated.model_validate({**fields, "url": url})

    return create_once(
        request,
        wired,
        principal,
        key,
        route=route,
        body=body.model_dump(mode="json"),
        effect=effect,
        show=show,
    )


@get_and_head(
    router,
    "",
    operation_id="list_share_links",
    summary="List share links, newest first",
    response_model=ShareLinkPage,
)
def list_share_links(
    request: Request, response: Response, wired: Wired, principal: CanManageShares, paging: Paging
) -> ShareLinkPage:
    """List share links, newest first, without their addresses."""
    rows, cursor = listed(request, response, wired, principal, paging, ShareLink, "share-links")
    items = tuple(ShareLinkResource.model_validate(_fields(wired, row)) for row in rows)
    return ShareLinkPage(items=items, next_cursor=cursor)


@get_and_head(
    router,
    "/{share_id}",
    operation_id="read_share_link",
    summary="Read a share link",
    response_model=ShareLinkResource,
)
def read_share_link(
    request: Request, wired: Wired, principal: CanManageShares, share_id: SharePath
) -> Response:
    """Read what a link shows, until when, and how often its page was opened."""
    row = wired.share_links.get(principal, share_id)
    return represent(request, ShareLinkResource.model_validate(_fields(wired, row)))


@router.delete(
    "/{share_id}",
    operation_id="revoke_share_link",
    summary="Withdraw a share link",
    status_code=204,
)
def revoke_share_link(wired: Wired, principal: CanManageShares, share_id: SharePath) -> Response:
    """End a link at once."""
    wired.share_links.revoke(principal, share_id)
    return Response(status_code=204)
