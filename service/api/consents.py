"""Consents for a player's films: recorded, listed, withdrawn."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Request, Response
from sqlalchemy.orm import Session

from models.contract.coaching import PlayerId
from models.contract.consents import (
    ConsentId,
    ConsentPage,
    ConsentResource,
    PlayerConsentRequest,
)
from models.contract.erasures import ErasureResource
from service.api.dependencies import (
    CanEraseClips,
    CanReadPlayers,
    CanWritePlayers,
    IdempotencyKey,
    Paging,
    Wired,
    represent,
)
from service.api.erasures import erased
from service.api.listing import listed
from service.api.routing import create_once, get_and_head
from service.core.tables import Consent

router = APIRouter(prefix="/v1/players/{player_id}/consents", tags=["players"])
PlayerPath = Annotated[PlayerId, Path(examples=["ply_0198f0a1b2c37d4e8f90a1b2c3d4e5f6"])]
ConsentPath = Annotated[ConsentId, Path(examples=["cns_0198f0a1b2c37d4e8f90a1b2c3d4e5f6"])]


def consent_resource(row: Consent, clips: tuple[str, ...]) -> ConsentResource:
    """Return a consent as a resource."""
    links = {}
    if row.player_id is not None:
        player = f"/v1/players/{row.player_id}"
        links = {"self": f"{player}/consents/{row.id}", "player": player}
    if row.link_id is not None:
        links["intake_link"] = f"/v1/intake-links/{row.link_id}"
    return ConsentResource.model_validate(
        {
            "id": row.id,
            "given_at": row.given_at,
            "given_by": row.given_by,
            "name": row.name,
            "version": row.version,
            "text": row.text,
            "covers": row.covers,
            "keep_films_days": row.keep_films_days,
            "withdrawn_at": row.withdrawn_at,
            "expires_at": row.expires_at,
            "player_id": row.player_id,
            "session_id": row.session_id,
            "clips": clips,
            "links": links,
        }
    )


@router.post(
    "",
    operation_id="record_consent",
    summary="Record a consent",
    status_code=201,
    response_model=ConsentResource,
)
def record_consent(
    request: Request,
    wired: Wired,
    principal: CanWritePlayers,
    player_id: PlayerPath,
    body: PlayerConsentRequest,
    key: IdempotencyKey,
) -> Response:
    """Record who agreed, on paper or in your app, to which wording for the films of a player.

    Consents given through intake links of the player are in the same list.
    """

    def effect(session: Session) -> str:
        return wired.consents.record(session, principal, player_id, body).id

    return create_once(
        request,
        wired,
        principal,
        key,
        route=f"POST /v1/players/{player_id}/consents",
        body=body.model_dump(mode="json"),
        effect=effect,
        show=lambda reply: consent_resource(wired.consents.get(player_id, reply.resource_id), ()),
    )


@get_and_head(
    router,
    "",
    operation_id="list_player_consents",
    summary="List the consents for a player's films, newest first",
    response_model=ConsentPage,
)
def list_player_consents(
    request: Request,
    response: Response,
    wired: Wired,
    principal: CanReadPlayers,
    player_id: PlayerPath,
    paging: Paging,
) -> ConsentPage:
    """List who agreed to which wording for the films of a player, and what was withdrawn."""
    wired.players.get(principal, player_id)
    bound = {"player_id": player_id}
    rows, cursor = listed(
        request, response, wired, principal, paging, Consent, "player-consents", bound
    )
    clips = wired.consents.clips_under([row.id for row in rows])
    items = tuple(consent_resource(row, clips[row.id]) for row in rows)
    return ConsentPage(items=items, next_cursor=cursor)


@get_and_head(
    router,
    "/{consent_id}",
    operation_id="read_player_consent",
    summary="Read a consent",
    response_model=ConsentResource,
)
def read_player_consent(
    request: Request,
    wired: Wired,
    principal: CanReadPlayers,
    player_id: PlayerPath,
    consent_id: ConsentPath,
) -> Response:
    """Read who agreed to what, and whether it was withdrawn."""
    row = wired.consents.get(player_id, consent_id)
    return represent(request, consent_resource(row, wired.consents.clips_under([row.id])[row.id]))


@router.post(
    "/{consent_id}/withdrawal",
    operation_id="withdraw_consent",
    summary="Withdraw a consent, and erase the player's films",
    status_code=202,
    response_model=ErasureResource,
)
def withdraw_consent(
    request: Request,
    wired: Wired,
    principal: CanEraseClips,
    player_id: PlayerPath,
    consent_id: ConsentPath,
) -> Response:
    """Withdraw a consent: all films of the player and everything made from them are erased, also
    where another consent stands; what is on its way is stopped. Player, sessions and consents stay
    until the player is erased. A repeat erases what has come in since.
    """
    return erased(request, wired, wired.eraser.consent(principal, player_id, consent_id))
