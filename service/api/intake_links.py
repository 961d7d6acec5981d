"""Intake links: addresses through which films come in without a key."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Path, Request, Response
from sqlalchemy.orm import Session

from models.contract.consents import ConsentPage, ConsentText
from models.contract.intake import (
    IntakeLinkCreated,
    IntakeLinkPage,
    IntakeLinkRequest,
    IntakeLinkResource,
    LinkId,
)
from service.api.consents import consent_resource
from service.api.dependencies import CanManageIntake, IdempotencyKey, Paging, Wired, represent
from service.api.keys import Minting
from service.api.listing import listed
from service.api.routing import create_once, get_and_head
from service.core.idempotency import Reply
from service.core.identifiers import new_id
from service.core.intake_links import state_of_link
from service.core.link_text import link_text
from service.core.tables import Consent, IntakeLink
from service.core.wiring import Wiring

router = APIRouter(prefix="/v1/intake-links", tags=["links"])
LinkPath = Annotated[LinkId, Path(examples=["lnk_0198f0a1b2c37d4e8f90a1b2c3d4e5f6"])]


def consent_text(row: IntakeLink) -> ConsentText:
    """Return what a link asks to agree to."""
    return ConsentText.model_validate(
        {
            "text": row.consent_text,
            "version": row.consent_version,
            "covers": row.consent_covers,
            "keep_films_days": row.consent_keep_days,
        }
    )


def _fields(wired: Wiring, rows: list[IntakeLink]) -> list[dict[str, Any]]:
    had = wired.intake_links.tallies([row.id for row in rows])
    now = wired.intake_links.now()
    shown = []
    for row in rows:
        here = f"/v1/intake-links/{row.id}"
        links = {"self": here, "consents": f"{here}/consents"}
        if row.player_id is not None:
            links["player"] = f"/v1/players/{row.player_id}"
        shown.append(
            {
                "id": row.id,
                "label": row.label,
                "state": state_of_link(row, had[row.id], now),
                "player_id": row.player_id,
                "session_id": row.session_id,
                "session_kind": row.session_kind,
                "max_films": row.max_films,
                "max_bytes": row.max_bytes,
                "films": had[row.id].films,
                "bytes": had[row.id].bytes,
                "created_at": row.created_at,
                "expires_at": row.expires_at,
                "revoked_at": row.revoked_at,
                "consent": consent_text(row),
                "analyse": row.analyse,
                "external_ref": row.external_ref,
                "links": links,
            }
        )
    return shown


@router.post(
    "",
    operation_id="create_intake_link",
    summary="Make an intake link",
    status_code=201,
    response_model=IntakeLinkCreated,
)
def create_intake_link(
    request: Request,
    wired: Wired,
    principal: CanManageIntake,
    body: IntakeLinkRequest,
    key: IdempotencyKey,
) -> Response:
    """Make an address through which a player, or anybody (an open call), sends films from a phone
    without a key: a page that says who asks, takes the consent, and goes on after a broken
    connection. The address is shown only here; the service keeps a digest.

    Films of a player's link are filed under its session, or under a new one a visit; those of an
    open call under none. Erasing the player, or the clips, erases the consents with them.
    """
    route = "POST /v1/intake-links"
    minting = Minting(request, principal, route, key)

    def effect(session: Session) -> str:
        link_id = new_id("lnk")
        secret = minting.secret(link_id)
        return wired.intake_links.enter(session, principal, body, secret, link_id).id

    def show(reply: Reply) -> IntakeLinkCreated:
        secret = minting.secret(reply.resource_id)
        wired.intake_links.require_secret(principal, reply.resource_id, secret)
        (fields,) = _fields(wired, [wired.intake_links.get(principal, reply.resource_id)])
        text = link_text(request.app.state.link_secret(), reply.resource_id, secret)
        url = f"{wired.settings.public_url.rstrip('/')}/i/{text}"
        return IntakeLinkCreated.model_validate({**fields, "url": url})

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
    operation_id="list_intake_links",
    summary="List intake links, newest first",
    response_model=IntakeLinkPage,
)
def list_intake_links(
    request: Request, response: Response, wired: Wired, principal: CanManageIntake, paging: Paging
) -> IntakeLinkPage:
    """List intake links, newest first, without their addresses."""
    rows, cursor = listed(request, response, wired, principal, paging, IntakeLink, "intake-links")
    items = tuple(IntakeLinkResource.model_validate(one) for one in _fields(wired, list(rows)))
    return IntakeLinkPage(items=items, next_cursor=cursor)


@get_and_head(
    router,
    "/{link_id}",
    operation_id="read_intake_link",
    summary="Read an intake link",
    response_model=IntakeLinkResource,
)
def read_intake_link(
    request: Request, wired: Wired, principal: CanManageIntake, link_id: LinkPath
) -> Response:
    """Read what a link asks for and what has come through it."""
    (fields,) = _fields(wired, [wired.intake_links.get(principal, link_id)])
    return represent(request, IntakeLinkResource.model_validate(fields))


@router.delete(
    "/{link_id}",
    operation_id="revoke_intake_link",
    summary="Withdraw an intake link",
    status_code=204,
)
def revoke_intake_link(wired: Wired, principal: CanManageIntake, link_id: LinkPath) -> Response:
    """End a link at once. What came through it stays, and the consents."""
    wired.intake_links.revoke(principal, link_id)
    return Response(status_code=204)


@get_and_head(
    router,
    "/{link_id}/consents",
    operation_id="list_consents",
    summary="List the consents given through a link, newest first",
    response_model=ConsentPage,
)
def list_consents(
    request: Request,
    response: Response,
    wired: Wired,
    principal: CanManageIntake,
    link_id: LinkPath,
    paging: Paging,
) -> ConsentPage:
    """List who agreed to which wording and when, with the clips that came under it."""
    wired.intake_links.get(principal, link_id)
    bound = {"link_id": link_id}
    rows, cursor = listed(request, response, wired, principal, paging, Consent, "consents", bound)
    clips = wired.consents.clips_under([row.id for row in rows])
    items = tuple(consent_resource(row, clips[row.id]) for row in rows)
    return ConsentPage(items=items, next_cursor=cursor)
