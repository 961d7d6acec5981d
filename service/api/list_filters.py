"""What lists of clips, players and sessions can be narrowed by. Those of work: ``work_filters``."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Any, Literal

from fastapi import Depends, Query
from sqlalchemy import ColumnElement, select
from sqlalchemy.orm import InstrumentedAttribute

from models.contract.coaching import Moment, PlayerId
from models.contract.progress import SessionKind
from models.contract.resources import ExternalRef, SessionId
from service.core.tables import Clip, FilmedSession, Player

ReferenceQuery = Annotated[ExternalRef | None, Query()]
KindQuery = Annotated[SessionKind | None, Query()]
StateQuery = Annotated[Literal["uploading", "ready"] | None, Query()]
SessionQuery = Annotated[SessionId | None, Query(description="Session it is filed under.")]
PlayerQuery = Annotated[PlayerId | None, Query(description="Player it is filed under.")]
FromQuery = Annotated[Moment | None, Query(description="Entered at this moment or later.")]
BeforeQuery = Annotated[Moment | None, Query(description="Entered before this moment.")]
FilmedFromQuery = Annotated[Moment | None, Query(description="Filmed at this moment or later.")]
FilmedBeforeQuery = Annotated[Moment | None, Query(description="Filmed before this moment.")]


@dataclass(frozen=True, slots=True)
class Narrowed:
    """What a list is narrowed by.

    Attributes
    ----------
    conditions : list of conditions
        On the table.
    in_query : dict
        The same as the query says it; page cursors are bound to it.
    """

    conditions: list[ColumnElement[bool]]
    in_query: dict[str, Any]


def _narrowed(conditions: dict[str, tuple[Any, ColumnElement[bool]]]) -> Narrowed:
    """Return those that are asked for. Each: name in the query to value and condition."""
    chosen = {name: pair for name, pair in conditions.items() if pair[0] is not None}
    return Narrowed(
        [condition for _, condition in chosen.values()],
        {name: _text(value) for name, (value, _) in chosen.items()},
    )


def _text(value: Any) -> str:
    return value.isoformat() if isinstance(value, datetime) else str(value)


def _between(
    column: InstrumentedAttribute[datetime],
    name: str,
    first: datetime | None,
    before: datetime | None,
) -> dict[str, tuple[Any, ColumnElement[bool]]]:
    found: dict[str, tuple[Any, ColumnElement[bool]]] = {}
    if first is not None:
        found[f"{name}_from"] = (first, column >= first)
    if before is not None:
        found[f"{name}_before"] = (before, column < before)
    return found


def _clips(
    external_ref: ReferenceQuery = None,
    session_id: SessionQuery = None,
    player_id: PlayerQuery = None,
    state: StateQuery = None,
    created_from: FromQuery = None,
    created_before: BeforeQuery = None,
) -> Narrowed:
    of_player = select(FilmedSession.id).where(FilmedSession.player_id == player_id)
    return _narrowed(
        {
            "external_ref": (external_ref, Clip.external_ref == external_ref),
            "session_id": (session_id, Clip.session_id == session_id),
            "player_id": (player_id, Clip.session_id.in_(of_player)),
            "state": (state, Clip.state == state),
            **_between(Clip.created_at, "created", created_from, created_before),
        }
    )


def _players(
    external_id: ReferenceQuery = None,
    created_from: FromQuery = None,
    created_before: BeforeQuery = None,
) -> Narrowed:
    return _narrowed(
        {
            "external_id": (external_id, Player.external_id == external_id),
            **_between(Player.created_at, "created", created_from, created_before),
        }
    )


def _sessions(
    kind: KindQuery = None,
    filmed_from: FilmedFromQuery = None,
    filmed_before: FilmedBeforeQuery = None,
    created_from: FromQuery = None,
    created_before: BeforeQuery = None,
) -> Narrowed:
    return _narrowed(
        {
            "kind": (kind and kind.value, FilmedSession.kind == kind),
            **_between(FilmedSession.filmed_at, "filmed", filmed_from, filmed_before),
            **_between(FilmedSession.created_at, "created", created_from, created_before),
        }
    )


ClipsWanted = Annotated[Narrowed, Depends(_clips)]
PlayersWanted = Annotated[Narrowed, Depends(_players)]
SessionsWanted = Annotated[Narrowed, Depends(_sessions)]
