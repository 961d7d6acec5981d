"""Everything about a player as one archive."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Request
from starlette.responses import Response, StreamingResponse

from models.contract.coaching import PlayerId
from service.api.dependencies import CanAdminister, Wired
from service.api.routing import get_and_head

router = APIRouter(prefix="/v1/players", tags=["players"])
PlayerPath = Annotated[PlayerId, Path(examples=["ply_0198f0a1b2c37d4e8f90a1b2c3d4e5f6"])]
ZIP = "application/zip"


@get_and_head(
    router,
    "/{player_id}/export",
    operation_id="export_player",
    summary="Fetch everything about a player as one archive",
    response_class=StreamingResponse,
    responses={200: {"content": {ZIP: {}}, "description": "A zip archive, made while it is sent."}},
)
def export_player(
    request: Request, wired: Wired, principal: CanAdminister, player_id: PlayerPath
) -> Response:
    """Fetch what there is of a player: player, sessions, consents, clips, work, links, the audit
    log, each as JSON, all films and all result files; `manifest.json` at its end lists them with
    their digests. An archive without a manifest was cut off: fetch it again.
    """
    contents = wired.export.contents(principal, player_id)
    name = f"attachment; filename={player_id}.zip"
    headers = {"content-disposition": name, "cache-control": "private, no-store"}
    if request.method == "HEAD":  # how long the archive is shows while it is made
        return Response(headers=headers, media_type=ZIP)
    return StreamingResponse(wired.export.written(contents), 200, headers, ZIP)
