"""Voice messages of a coach for a player."""

from __future__ import annotations

import hashlib
from typing import Annotated, Any

from anyio import to_thread
from fastapi import APIRouter, Path, Request, Response
from sqlalchemy.orm import Session

from models.contract.coaching import PlayerId
from models.contract.voices import VoiceId, VoicePage, VoiceResource
from service.api.dependencies import (
    CanReadPlayers,
    CanWritePlayers,
    IdempotencyKey,
    MayMatch,
    Paging,
    Wired,
    heed_match,
    represent,
)
from service.api.file_bodies import file_schema
from service.api.listing import listed
from service.api.representations import send_object
from service.api.routing import create_once, get_and_head
from service.core.audio import MP3, MP4, OGG, WAV, WEBM, voice_of
from service.core.idempotency import Reply
from service.core.tables import Voice

router = APIRouter(prefix="/v1/players/{player_id}/voices", tags=["coaching"])
PlayerPath = Annotated[PlayerId, Path(examples=["ply_0198f0a1b2c37d4e8f90a1b2c3d4e5f6"])]
VoicePath = Annotated[VoiceId, Path(examples=["voc_0198f0a1b2c37d4e8f90a1b2c3d4e5f6"])]
TYPES = (MP4, WEBM, OGG, MP3, WAV)
_BODY = {
    "requestBody": {
        "required": True,
        "content": {kind: {"schema": file_schema(kind)} for kind in TYPES},
    }
}
_SOUND: dict[int | str, dict[str, Any]] = {
    200: {"content": {kind: {} for kind in TYPES}, "description": "The voice file."}
}


def voice_resource(row: Voice) -> VoiceResource:
    """Return a voice message as a resource."""
    player = f"/v1/players/{row.player_id}"
    here = f"{player}/voices/{row.id}"
    return VoiceResource.model_validate(
        {
            "id": row.id,
            "player_id": row.player_id,
            "created_at": row.created_at,
            "media_type": row.media_type,
            "size_bytes": row.size_bytes,
            "sha256": row.sha256,
            "links": {"self": here, "content": f"{here}/content", "player": player},
        }
    )


@router.post(
    "",
    operation_id="send_voice",
    summary="Send a voice message for a player",
    status_code=201,
    response_model=VoiceResource,
    openapi_extra=_BODY,
)
async def send_voice(
    request: Request,
    wired: Wired,
    principal: CanWritePlayers,
    player_id: PlayerPath,
    key: IdempotencyKey,
) -> Response:
    """Send a spoken message, at most 3 MB: MP4 or WebM with sound alone, Ogg, MP3 or WAVE, known by
    its content. It is kept and played, and nothing listens to it; places and names in the file are
    taken out. Name it as `voice_id` of a plan, a comparison or a progress document, whose page then
    plays it. It is erased with the player.
    """
    data = await request.body()

    def enter() -> Response:
        wired.players.get(principal, player_id)
        media_type, kept = voice_of(data)
        row = wired.voices.store(principal, player_id, media_type, kept)
        used = False

        def effect(session: Session) -> str:
            return wired.voices.enter(session, row)

        def show(reply: Reply) -> VoiceResource:
            nonlocal used
            used = not reply.replayed
            return voice_resource(wired.voices.get(principal, player_id, reply.resource_id))

        try:
            return create_once(
                request,
                wired,
                principal,
                key,
                route=f"POST /v1/players/{player_id}/voices",
                body=hashlib.sha256(data).hexdigest(),
                effect=effect,
                show=show,
            )
        finally:
            if not used:
                wired.voices.discard(row)

    return await to_thread.run_sync(enter)


@get_and_head(
    router,
    "",
    operation_id="list_voices",
    summary="List the voice messages for a player, newest first",
    response_model=VoicePage,
)
def list_voices(
    request: Request,
    response: Response,
    wired: Wired,
    principal: CanReadPlayers,
    player_id: PlayerPath,
    paging: Paging,
) -> VoicePage:
    """List the voice messages for a player, newest first."""
    wired.players.get(principal, player_id)
    bound = {"player_id": player_id}
    rows, cursor = listed(request, response, wired, principal, paging, Voice, "voices", bound)
    return VoicePage(items=tuple(map(voice_resource, rows)), next_cursor=cursor)


@get_and_head(
    router,
    "/{voice_id}",
    operation_id="read_voice",
    summary="Read what a voice message is",
    response_model=VoiceResource,
)
def read_voice(
    request: Request,
    wired: Wired,
    principal: CanReadPlayers,
    player_id: PlayerPath,
    voice_id: VoicePath,
) -> Response:
    """Read type, size and digest of a voice message."""
    return represent(request, voice_resource(wired.voices.get(principal, player_id, voice_id)))


@get_and_head(
    router,
    "/{voice_id}/content",
    operation_id="read_voice_content",
    summary="Fetch a voice message",
    response_class=Response,
    responses=_SOUND,
)
def read_voice_content(
    request: Request,
    wired: Wired,
    principal: CanReadPlayers,
    player_id: PlayerPath,
    voice_id: VoicePath,
) -> Response:
    """Fetch the voice file as it is kept; ranges are answered."""
    row = wired.voices.get(principal, player_id, voice_id)
    return send_object(
        request,
        wired.objects,
        key=row.object_key,
        sha256=row.sha256,
        size_bytes=row.size_bytes,
        media_type=row.media_type,
    )


@router.delete(
    "/{voice_id}",
    operation_id="delete_voice",
    summary="Remove a voice message",
    status_code=204,
)
def delete_voice(
    request: Request,
    wired: Wired,
    principal: CanWritePlayers,
    player_id: PlayerPath,
    voice_id: VoicePath,
    _if_match: MayMatch = None,
) -> Response:
    """Remove a voice message. Pages that play it hold it themselves: erase them too."""
    heed_match(request, voice_resource(wired.voices.get(principal, player_id, voice_id)))
    wired.voices.delete(principal, player_id, voice_id)
    return Response(status_code=204)
