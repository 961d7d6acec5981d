"""The films that an analysis may be of: one that is here, and maybe another of the same serve."""

from __future__ import annotations

from sqlalchemy import select
from sqlalchemy.orm import Session

from models.contract.errors import (
    FilmsOfTwoSessions,
    InvalidRequest,
    NoLongerKept,
    NotFound,
    UploadNotComplete,
)
from models.contract.note_codes import NoteCode, say
from service.core.joint_files import JOINT_TYPES
from service.core.principal import Principal
from service.core.tables import Clip


def ready_clip(session: Session, principal: Principal, clip_id: str) -> Clip:
    """Return a clip whose film is here.

    Raises
    ------
    NotFound, UploadNotComplete, NoLongerKept
        There is no such clip, or its film is not here yet, or no longer.
    """
    clip = session.scalars(
        select(Clip).where(Clip.id == clip_id, Clip.tenant_id == principal.tenant_id)
    ).one_or_none()
    if clip is None:
        raise NotFound(say(NoteCode.NO_SUCH_CLIP))
    if clip.state != "ready":
        raise UploadNotComplete(about=clip.id)
    if clip.film_removed_at is not None:
        raise NoLongerKept()
    return clip


def check_second(first: Clip, second: Clip) -> None:
    """Refuse what can be no second film of a serve.

    Raises
    ------
    InvalidRequest, FilmsOfTwoSessions
        It is the first film, or no film, or is filed elsewhere.
    """
    if second.id == first.id:
        raise InvalidRequest(say(NoteCode.SECOND_FILM_IS_FIRST), pointer="/same_serve")
    if any(clip.media_type in JOINT_TYPES for clip in (first, second)):
        raise InvalidRequest(say(NoteCode.SECOND_FILM_OF_JOINTS), pointer="/same_serve")
    if second.session_id != first.session_id:
        raise FilmsOfTwoSessions(about=second.id)
