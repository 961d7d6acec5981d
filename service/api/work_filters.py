"""What lists of work can be narrowed by."""
# No postponed annotations here: two of these are made in functions.

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Any

from fastapi import Path, Query

from models.contract.coaching import Moment, PlayerId
from models.contract.resources import ClipId, SessionId
from models.contract.vocabulary import AnalysisStatus, Role, WorkKind
from service.core.work_lists import WorkFilter

PlayerPath = Annotated[PlayerId, Path(examples=["ply_0198f0a1b2c37d4e8f90a1b2c3d4e5f6"])]
StatusQuery = Annotated[AnalysisStatus | None, Query()]
ClipQuery = Annotated[ClipId | None, Query()]
SessionQuery = Annotated[SessionId | None, Query(description="Session its clip is filed under.")]
FilmedQuery = Annotated[PlayerId | None, Query(description="Player its clip is filed under.")]
AboutQuery = Annotated[PlayerId | None, Query(description="The one player it is about.")]
RoleQuery = Annotated[Role | None, Query(description="Whose serves it shows.")]
FromQuery = Annotated[Moment | None, Query(description="Asked for at this moment or later.")]
BeforeQuery = Annotated[Moment | None, Query(description="Asked for before this moment.")]


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a list is narrowed by.

    Attributes
    ----------
    bound : dict
        What a page cursor is bound to.
    in_query : dict
        The part of it that is in the query.
    """

    filter: WorkFilter
    bound: dict[str, Any]
    in_query: dict[str, Any]


def _wanted(
    kind: WorkKind,
    in_path: dict[str, str],
    status: AnalysisStatus | None,
    created_from: datetime | None,
    created_before: datetime | None,
    role: Role | None = None,
    **others: str | None,
) -> Wanted:
    in_query = {
        "status": status.value if status else None,
        "created_from": created_from.isoformat() if created_from else None,
        "created_before": created_before.isoformat() if created_before else None,
        **({} if role is None else {"role": role.value}),
        **others,
    }
    chosen = WorkFilter(
        kind=kind,
        status=status,
        created_from=created_from,
        created_before=created_before,
        role=role,
        **in_path,
        **others,
    )
    of_kind = {} if kind is WorkKind.ANALYSIS else {"kind": kind.value}
    return Wanted(chosen, of_kind | in_path | in_query, in_query)


def analyses_wanted(
    clip_id: ClipQuery = None,
    session_id: SessionQuery = None,
    player_id: FilmedQuery = None,
    status: StatusQuery = None,
    role: RoleQuery = None,
    created_from: FromQuery = None,
    created_before: BeforeQuery = None,
) -> Wanted:
    """Return which analyses are wanted."""
    return _wanted(
        WorkKind.ANALYSIS,
        {},
        status,
        created_from,
        created_before,
        role,
        clip_id=clip_id,
        session_id=session_id,
        player_id=player_id,
    )


def documents_wanted(kind: WorkKind) -> Callable[..., Wanted]:
    """Return a dependency that tells which documents of a kind are wanted."""

    def wanted(
        player_id: AboutQuery = None,
        status: StatusQuery = None,
        created_from: FromQuery = None,
        created_before: BeforeQuery = None,
    ) -> Wanted:
        return _wanted(kind, {}, status, created_from, created_before, player_id=player_id)

    return wanted


def documents_of_player(kind: WorkKind) -> Callable[..., Wanted]:
    """Return a dependency that tells which documents of a kind about a player are wanted."""

    def wanted(
        player_id: PlayerPath,
        status: StatusQuery = None,
        created_from: FromQuery = None,
        created_before: BeforeQuery = None,
    ) -> Wanted:
        return _wanted(kind, {"player_id": player_id}, status, created_from, created_before)

    return wanted
