"""Narrows every database session to what its caller reaches. The one place that keeps organisations
apart, and keys that are bound to a player or a session within them.

Each ORM statement (select, update, delete, ``Session.get``, subqueries and joins included) gets the
conditions of every table that carries a ``tenant_id``; what is written is checked before it is
flushed. A table that is added later is narrowed to its organisation by itself, and hidden from
bound keys until :data:`_OF_PLAYER` says which of its rows are theirs.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import Any

from sqlalchemy import ColumnElement, Select, and_, event, false, or_, select, true
from sqlalchemy.orm import ORMExecuteState, Session, UOWTransaction, with_loader_criteria
from sqlalchemy.sql.base import ExecutableOption

from models.contract.errors import Forbidden, InvalidRequest
from models.contract.note_codes import NoteCode, say
from models.contract.vocabulary import WorkKind
from service.core.account_tables import Branding, Organisation
from service.core.reach import REACH, Reach
from service.core.table_base import Base
from service.core.tables import (
    Clip,
    Consent,
    Erasure,
    ErasureReceipt,
    FilmedSession,
    IdempotentReply,
    IntakeLink,
    Player,
    ResumableUpload,
    RuleFile,
    UploadPiece,
    Voice,
    Work,
    WorkInput,
)


class OutOfReach(Exception):
    """Something was about to be written for another organisation: an error of this program."""


class NarrowedSession(Session):
    """A database session that reaches no further than its caller."""


# The tables below are named as tables, not as classes: conditions inside conditions would be
# narrowed again.
_sessions, _clips = FilmedSession.__table__, Clip.__table__
_work, _inputs = Work.__table__, WorkInput.__table__


def _own_sessions(reach: Reach) -> Select[Any]:
    wanted = select(_sessions.c.id).where(_sessions.c.player_id == reach.player_id)
    if reach.session_id is not None:
        wanted = wanted.where(_sessions.c.id == reach.session_id)
    return wanted


def _own_work(reach: Reach) -> ColumnElement[bool]:
    """Analyses of own clips, of both where there are two; documents about the player, of a bound
    session's clips alone.
    """
    own_clips = select(_clips.c.id).where(_clips.c.session_id.in_(_own_sessions(reach)))
    documents = and_(Work.kind != WorkKind.ANALYSIS, Work.player_id == reach.player_id)
    if reach.session_id is not None:
        beyond = (
            select(_inputs.c.work_id)
            .join(_work, _work.c.id == _inputs.c.input_id)
            .outerjoin(_clips, _clips.c.id == _work.c.clip_id)
            .where(
                or_(
                    _clips.c.session_id.is_(None),
                    _clips.c.session_id != reach.session_id,
                    _work.c.same_serve_id.not_in(
                        select(_clips.c.id).where(_clips.c.session_id == reach.session_id)
                    ),
                ),
                _inputs.c.tenant_id == reach.tenant_id,
            )
        )
        documents = and_(documents, Work.id.not_in(beyond))
    both = or_(Work.same_serve_id.is_(None), Work.same_serve_id.in_(own_clips))
    return or_(and_(Work.clip_id.in_(own_clips), both), documents)


def _own_session(reach: Reach) -> ColumnElement[bool]:
    own = FilmedSession.player_id == reach.player_id
    return own if reach.session_id is None else and_(own, FilmedSession.id == reach.session_id)


def _of_session(
    table: type[ResumableUpload] | type[IntakeLink] | type[Consent],
) -> Callable[[Reach], ColumnElement[bool]]:
    """Return the condition of a table with a column of the player and one of the session."""

    def own(reach: Reach) -> ColumnElement[bool]:
        mine = table.player_id == reach.player_id
        return (
            mine if reach.session_id is None else and_(mine, table.session_id == reach.session_id)
        )

    return own


def _nothing(_reach: Reach) -> ColumnElement[bool]:
    return false()


_OF_PLAYER: dict[type[Base], Callable[[Reach], ColumnElement[bool]]] = {
    Player: lambda reach: Player.id == reach.player_id,
    FilmedSession: _own_session,
    Clip: lambda reach: Clip.session_id.in_(_own_sessions(reach)),
    Work: _own_work,
    ResumableUpload: _of_session(ResumableUpload),
    IntakeLink: _of_session(IntakeLink),
    Consent: _of_session(Consent),
    Voice: lambda reach: Voice.player_id == reach.player_id,
    UploadPiece: lambda _: true(),  # places of bytes, asked for by an upload narrowed itself
    Branding: lambda _: true(),  # of the whole organisation, as the rules
    RuleFile: lambda _: true(),  # of the whole organisation, and nobody's in particular
    WorkInput: lambda _: true(),  # ids only, asked for by work that is narrowed itself
    IdempotentReply: lambda _: true(),  # found by the id of the key that asks
    Erasure: lambda _: true(),
    ErasureReceipt: lambda reach: ErasureReceipt.player_id == reach.player_id,
}
"""Which rows of its organisation a bound key sees; none of the tables that are not here."""


def narrowed_tables() -> dict[type[Base], Any]:
    """Return the classes whose rows belong to an organisation, with the column that says which."""
    found: dict[type[Base], Any] = {Organisation: Organisation.id}
    for mapper in Base.registry.mappers:
        if "tenant_id" in mapper.columns:
            found[mapper.class_] = mapper.class_.tenant_id
    return found


@lru_cache(maxsize=256)
def _conditions(reach: Reach) -> tuple[ExecutableOption, ...]:
    options = []
    for table, tenant in narrowed_tables().items():
        if reach.tenant_id is None:
            condition: ColumnElement[bool] = false()
        else:
            condition = tenant == reach.tenant_id
            if reach.bound:
                condition = and_(condition, _OF_PLAYER.get(table, _nothing)(reach))
        options.append(with_loader_criteria(table, condition, include_aliases=True))
    return tuple(options)


@event.listens_for(NarrowedSession, "do_orm_execute")
def _narrow(state: ORMExecuteState) -> None:
    reach: Reach = state.session.info[REACH]
    if not reach.everything and not state.is_column_load and not state.is_insert:
        state.statement = state.statement.options(*_conditions(reach))


@event.listens_for(NarrowedSession, "before_flush")
def _check(session: Session, _context: UOWTransaction, _instances: Any) -> None:
    reach: Reach = session.info[REACH]
    if reach.everything:
        return
    for row in (*session.new, *session.dirty):
        owner: str | None
        if isinstance(row, Organisation):
            owner = row.id
        elif hasattr(row, "tenant_id"):
            owner = row.tenant_id = row.tenant_id or reach.tenant_id
        else:
            continue
        if reach.tenant_id is None or owner != reach.tenant_id:
            raise OutOfReach(f"a row of {type(row).__name__} for another organisation")
        if reach.bound:
            _check_bound(reach, row)


def _check_bound(reach: Reach, row: Base) -> None:
    """Raise unless a key that is bound may write this row."""
    if isinstance(row, Player) and row.id != reach.player_id:
        raise Forbidden(say(NoteCode.KEY_OF_ONE_PLAYER))
    if isinstance(row, FilmedSession):
        if row.player_id != reach.player_id:
            raise Forbidden(say(NoteCode.KEY_OF_ONE_PLAYER))
        if reach.session_id not in (None, row.id):
            raise Forbidden(say(NoteCode.KEY_OF_ONE_SESSION))
    if isinstance(row, ResumableUpload) and row.link_id is not None:
        return  # through a player's link: filed when it is in
    if isinstance(row, Clip | ResumableUpload):
        if row.session_id is None:
            raise InvalidRequest(say(NoteCode.KEY_NEEDS_SESSION), pointer="/session_id")
        if reach.session_id not in (None, row.session_id):
            raise Forbidden(say(NoteCode.KEY_OF_ONE_SESSION))
