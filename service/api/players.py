"""Players and their sessions."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Annotated, Any, Literal, cast

from fastapi import APIRouter, Path, Request, Response
from sqlalchemy.orm import Session

from models.contract.analysis import MINOR_CAUTIONS
from models.contract.coaching import (
    PlayerChange,
    PlayerId,
    PlayerPage,
    PlayerRequest,
    PlayerResource,
    ServeSpeed,
    SessionChange,
    SessionPage,
    SessionRequest,
    SessionResource,
)
from models.contract.erasures import ErasureResource
from models.contract.progress import SessionKind
from models.contract.resources import SessionId
from models.contract.vocabulary import Handedness, RepetitionKind, Sex
from service.api.dependencies import (
    CanEraseClips,
    CanReadPlayers,
    CanWritePlayers,
    IdempotencyKey,
    IfMatch,
    MayMatch,
    Paging,
    Wired,
    heed_match,
    represent,
    require_match,
)
from service.api.erasures import erased
from service.api.list_filters import PlayersWanted, SessionsWanted
from service.api.routing import create_once, get_and_head
from service.core.keyset import page
from service.core.players import may_be_minor
from service.core.tables import FilmedSession, Player

router = APIRouter(prefix="/v1/players", tags=["players"])

PlayerPath = Annotated[PlayerId, Path(examples=["ply_0198f0a1b2c37d4e8f90a1b2c3d4e5f6"])]
SessionPath = Annotated[SessionId, Path(examples=["ses_0198f0a1b2c37d4e8f90a1b2c3d4e5f6"])]
_NEVER_NULL = {"external_id", "handedness", "sex", "kind", "filmed_at"}


def player_resource(row: Player) -> PlayerResource:
    """Return a player row as a resource."""
    here = f"/v1/players/{row.id}"
    minor = may_be_minor(row, datetime.now(UTC))
    return PlayerResource(
        id=row.id,
        external_id=row.external_id,
        handedness=Handedness(row.handedness),
        height_m=row.height_m,
        sex=Sex(row.sex),
        birth_year=row.birth_year,
        notes=row.notes,
        may_be_minor=minor,
        created_at=row.created_at,
        updated_at=row.updated_at,
        cautions=MINOR_CAUTIONS if minor else (),
        links={
            "self": here,
            "sessions": f"{here}/sessions",
            "consents": f"{here}/consents",
            "progress": f"{here}/progress",
            "plans": f"{here}/plans",
        },
    )


def session_resource(row: FilmedSession) -> SessionResource:
    """Return a session row as a resource."""
    player = f"/v1/players/{row.player_id}"
    speed = None
    if row.serve_speed_m_s is not None:
        source = cast(Literal["self_reported", "radar"], row.serve_speed_source)
        speed = ServeSpeed(value_m_s=row.serve_speed_m_s, source=source)
    return SessionResource(
        id=row.id,
        player_id=row.player_id,
        kind=SessionKind(row.kind),
        filmed_at=row.filmed_at,
        drill_stage=RepetitionKind(row.drill_stage) if row.drill_stage else None,
        drill_id=row.drill_id,
        serve_speed=speed,
        notes=row.notes,
        created_at=row.created_at,
        updated_at=row.updated_at,
        links={
            "self": f"{player}/sessions/{row.id}",
            "player": player,
            "clips": f"/v1/clips?session_id={row.id}",
        },
    )


def _changes(body: PlayerChange | SessionChange) -> dict[str, Any]:
    """Return what is to be changed; null leaves alone what cannot be taken away."""
    values = body.model_dump(exclude_unset=True)
    kept = {
        name: value
        for name, value in values.items()
        if value is not None or name not in _NEVER_NULL
    }
    return _columns(kept)


def _columns(values: dict[str, Any]) -> dict[str, Any]:
    """Return values as the table keeps them: speed and its source apart."""
    columns = dict(values)
    if "serve_speed" in columns:
        speed = columns.pop("serve_speed") or {}
        columns["serve_speed_m_s"] = speed.get("value_m_s")
        columns["serve_speed_source"] = speed.get("source")
    return columns


@router.post(
    "",
    operation_id="create_player",
    summary="Register a player",
    status_code=201,
    response_model=PlayerResource,
)
def create_player(
    request: Request,
    wired: Wired,
    principal: CanWritePlayers,
    body: PlayerRequest,
    key: IdempotencyKey,
) -> Response:
    """Register a player under the id of your app. No name is needed.

    Height, handedness and sex serve analyses of the player's clips where their options leave them
    open. A year of birth that may mean under 18 adds cautions to every report.
    """

    def effect(session: Session) -> str:
        return wired.players.create(session, principal, body.model_dump()).id

    return create_once(
        request,
        wired,
        principal,
        key,
        route="POST /v1/players",
        body=body.model_dump(mode="json"),
        effect=effect,
        show=lambda reply: player_resource(wired.players.get(principal, reply.resource_id)),
    )


@get_and_head(
    router,
    "",
    operation_id="list_players",
    summary="List players, newest first",
    response_model=PlayerPage,
)
def list_players(
    request: Request,
    response: Response,
    wired: Wired,
    principal: CanReadPlayers,
    paging: Paging,
    wanted: PlayersWanted,
) -> PlayerPage:
    """List players, newest first."""
    found = page(
        wired.database,
        Player,
        principal,
        after=paging.after("players", wanted.in_query),
        limit=paging.limit,
        narrowed=wanted.conditions,
    )
    cursor = paging.finish(response, request.url.path, "players", wanted.in_query, found.next)
    return PlayerPage(items=tuple(player_resource(row) for row in found.rows), next_cursor=cursor)


@get_and_head(
    router,
    "/{player_id}",
    operation_id="read_player",
    summary="Read a player",
    response_model=PlayerResource,
)
def read_player(
    request: Request, wired: Wired, principal: CanReadPlayers, player_id: PlayerPath
) -> Response:
    """Read a player; the ETag is needed for changes."""
    return represent(request, player_resource(wired.players.get(principal, player_id)))


@router.patch(
    "/{player_id}",
    operation_id="change_player",
    summary="Change a player",
    response_model=PlayerResource,
)
def change_player(
    request: Request,
    wired: Wired,
    principal: CanWritePlayers,
    player_id: PlayerPath,
    body: PlayerChange,
    if_match: IfMatch = None,
) -> Response:
    """Change what is known of a player. Finished analyses stay as they are."""
    row = wired.players.change(
        principal,
        player_id,
        _changes(body),
        lambda present: require_match(request, player_resource(present)),
    )
    return represent(request, player_resource(row))


@router.delete(
    "/{player_id}",
    operation_id="erase_player",
    summary="Erase a player and everything of theirs",
    status_code=202,
    response_model=ErasureResource,
)
def erase_player(
    request: Request,
    wired: Wired,
    principal: CanEraseClips,
    player_id: PlayerPath,
    _if_match: MayMatch = None,
) -> Response:
    """Erase the player, all sessions, their clips, results, reports, plans and events."""
    gone = wired.eraser.player(
        principal, player_id, lambda row: heed_match(request, player_resource(row))
    )
    return erased(request, wired, gone)


@router.post(
    "/{player_id}/sessions",
    operation_id="create_session",
    summary="Open a session",
    status_code=201,
    response_model=SessionResource,
)
def create_session(
    request: Request,
    wired: Wired,
    principal: CanWritePlayers,
    player_id: PlayerPath,
    body: SessionRequest,
    key: IdempotencyKey,
) -> Response:
    """Open a session: `baseline` before any coaching, `acquisition` while it is practised,
    `retention` 24 hours or more later and before any coaching, `transfer` in a match.
    """

    def effect(session: Session) -> str:
        values = _columns(body.model_dump())
        return wired.players.create_session(session, principal, player_id, values).id

    return create_once(
        request,
        wired,
        principal,
        key,
        route=f"POST /v1/players/{player_id}/sessions",
        body=body.model_dump(mode="json"),
        effect=effect,
        show=lambda reply: session_resource(
            wired.players.get_session(principal, reply.resource_id)
        ),
    )


@get_and_head(
    router,
    "/{player_id}/sessions",
    operation_id="list_sessions",
    summary="List a player's sessions",
    response_model=SessionPage,
)
def list_sessions(
    request: Request,
    response: Response,
    wired: Wired,
    principal: CanReadPlayers,
    paging: Paging,
    player_id: PlayerPath,
    wanted: SessionsWanted,
) -> SessionPage:
    """List the sessions of a player, the one entered last first."""
    wired.players.get(principal, player_id)
    bound = {"player_id": player_id, **wanted.in_query}
    found = page(
        wired.database,
        FilmedSession,
        principal,
        after=paging.after("sessions", bound),
        limit=paging.limit,
        filters={"player_id": player_id},
        narrowed=wanted.conditions,
    )
    shown = wanted.in_query
    cursor = paging.finish(response, request.url.path, "sessions", bound, found.next, shown)
    items = tuple(session_resource(row) for row in found.rows)
    return SessionPage(items=items, next_cursor=cursor)


@get_and_head(
    router,
    "/{player_id}/sessions/{session_id}",
    operation_id="read_session",
    summary="Read a session",
    response_model=SessionResource,
)
def read_session(
    request: Request,
    wired: Wired,
    principal: CanReadPlayers,
    player_id: PlayerPath,
    session_id: SessionPath,
) -> Response:
    """Read a session; the ETag is needed for changes."""
    row = wired.players.get_session(principal, session_id, player_id)
    return represent(request, session_resource(row))


@router.patch(
    "/{player_id}/sessions/{session_id}",
    operation_id="change_session",
    summary="Change a session",
    response_model=SessionResource,
)
def change_session(
    request: Request,
    wired: Wired,
    principal: CanWritePlayers,
    player_id: PlayerPath,
    session_id: SessionPath,
    body: SessionChange,
    if_match: IfMatch = None,
) -> Response:
    """Change what is known of a session. Documents made before stay as they are."""
    row = wired.players.change_session(
        principal,
        player_id,
        session_id,
        _changes(body),
        lambda present: require_match(request, session_resource(present)),
    )
    return represent(request, session_resource(row))


@router.delete(
    "/{player_id}/sessions/{session_id}",
    operation_id="erase_session",
    summary="Erase a session with its clips",
    status_code=202,
    response_model=ErasureResource,
)
def erase_session(
    request: Request,
    wired: Wired,
    principal: CanEraseClips,
    player_id: PlayerPath,
    session_id: SessionPath,
    _if_match: MayMatch = None,
) -> Response:
    """Erase a session, its clips and everything derived from them."""
    gone = wired.eraser.session(
        principal, player_id, session_id, lambda row: heed_match(request, session_resource(row))
    )
    return erased(request, wired, gone)
