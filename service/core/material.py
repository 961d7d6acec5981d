"""From the clips, analyses and sessions a caller names to the rows that are meant."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from sqlalchemy import or_, select
from sqlalchemy.orm import Session

from models.contract.errors import (
    AnalysisNotCompleted,
    AnalysisNotEnded,
    NoSessionAnalysed,
    NoSessionOfServes,
    NotFound,
    SessionWithoutAnalysis,
)
from models.contract.note_codes import NoteCode, say
from models.contract.vocabulary import AnalysisStatus, RepetitionKind, WorkKind
from service.core.players import find_session
from service.core.principal import Principal
from service.core.tables import Clip, FilmedSession, Work

UNFINISHED = (AnalysisStatus.QUEUED, AnalysisStatus.RUNNING)


def find_clip(session: Session, principal: Principal, clip_id: str, *, lock: bool = False) -> Clip:
    """Return a clip of this tenant, or raise ``NotFound``."""
    query = select(Clip).where(Clip.id == clip_id, Clip.tenant_id == principal.tenant_id)
    row = session.scalars(query.with_for_update() if lock else query).one_or_none()
    if row is None:
        raise NotFound()
    return row


def completed_analyses(
    session: Session,
    principal: Principal,
    analyses: Iterable[str],
    sessions: Iterable[str],
) -> list[str]:
    """Return the ids of the analyses named, those of sessions included, each once.

    Raises
    ------
    NotFound
        There is no analysis or session under an id.
    AnalysisNotCompleted, SessionWithoutAnalysis
        An analysis is not completed, or a session holds none that is.
    """
    found: list[str] = []
    for analysis_id in analyses:
        row = session.scalars(
            select(Work).where(
                Work.id == analysis_id,
                Work.tenant_id == principal.tenant_id,
                Work.kind == WorkKind.ANALYSIS,
            )
        ).one_or_none()
        if row is None:
            raise NotFound(say(NoteCode.NO_SUCH_ANALYSIS, analysis=analysis_id))
        if row.status != AnalysisStatus.COMPLETED:
            said = say(NoteCode.STATUS_OF_ANALYSIS, analysis=row.id, status=row.status)
            raise AnalysisNotCompleted(said, about=row.id)
        found.append(row.id)
    for session_id in sessions:
        find_session(session, principal, session_id)
        of_session = analyses_of_session(session, session_id)
        if not of_session:
            said = say(NoteCode.SESSION_LACKS_ANALYSIS, session=session_id)
            raise SessionWithoutAnalysis(said, about=session_id)
        found += of_session
    return list(dict.fromkeys(found))


def analyses_of_session(session: Session, session_id: str) -> list[str]:
    """Return the newest completed analysis of each clip of a session; model serves are no material.

    A film that is the second of an analysis returned counts with it, not by itself: it shows the
    same serve. An analysis whose other film is filed elsewhere does not count.

    Raises
    ------
    AnalysisNotEnded
        The newest analysis of a clip has not ended yet.
    """
    filed = select(Clip.id).where(Clip.session_id == session_id)
    rows = session.scalars(
        select(Work)
        .join(Clip, Clip.id == Work.clip_id)
        .where(
            Clip.session_id == session_id,
            Work.role.is_(None),
            or_(Work.same_serve_id.is_(None), Work.same_serve_id.in_(filed)),
        )
        .order_by(Clip.created_at, Clip.id, Work.created_at.desc(), Work.id.desc())
    ).all()
    newest: dict[str | None, str] = {}
    second: set[str | None] = set()
    for row in rows:
        if row.clip_id in newest:
            continue
        if row.status in UNFINISHED:
            said = say(NoteCode.ANALYSIS_GOES_ON, analysis=row.id, session=session_id)
            raise AnalysisNotEnded(said, about=row.id)
        if row.status == AnalysisStatus.COMPLETED:
            newest[row.clip_id] = row.id
            second.add(row.same_serve_id)
    return [work_id for clip_id, work_id in newest.items() if clip_id not in second]


def sessions_of(session: Session, player_id: str) -> Sequence[FilmedSession]:
    """Return the sessions of a player in order of time."""
    return session.scalars(
        select(FilmedSession)
        .where(FilmedSession.player_id == player_id)
        .order_by(FilmedSession.filmed_at, FilmedSession.id)
    ).all()


def newest_serves(session: Session, player_id: str) -> list[str]:
    """Return the analyses of the player's newest session of plain serves that has any.

    Raises
    ------
    NoSessionOfServes
        There is no such session.
    """
    for filmed in reversed(sessions_of(session, player_id)):
        if filmed.drill_stage in (None, RepetitionKind.SERVE):
            found = analyses_of_session(session, filmed.id)
            if found:
                return found
    raise NoSessionOfServes(about=player_id)


def everything_of(session: Session, player_id: str) -> list[str]:
    """Return the analyses of all sessions of a player, in order of time."""
    found = [
        analysis_id
        for filmed in sessions_of(session, player_id)
        for analysis_id in analyses_of_session(session, filmed.id)
    ]
    if not found:
        raise NoSessionAnalysed(about=player_id)
    return found


def only_player(session: Session, analysis_ids: Iterable[str]) -> str | None:
    """Return the player all these analyses belong to; None when they are several or unknown."""
    players = _players(session, analysis_ids)
    return players[0] if len(players) == 1 else None


def players_of(session: Session, analysis_ids: Iterable[str]) -> set[str]:
    """Return the players whom these analyses show, as far as known."""
    return {one for one in _players(session, analysis_ids) if one is not None}


def _players(session: Session, analysis_ids: Iterable[str]) -> Sequence[str | None]:
    return session.scalars(
        select(FilmedSession.player_id)
        .select_from(Work)
        .join(Clip, Clip.id == Work.clip_id)
        .outerjoin(FilmedSession, FilmedSession.id == Clip.session_id)
        .where(Work.id.in_(list(analysis_ids)))
        .distinct()
    ).all()
