"""Which file of a result a guest gets: the face of a possible minor is not shown by a link."""

from __future__ import annotations

from sqlalchemy import select
from sqlalchemy.orm import Session

from models.contract.faces import Faces, hidden_name
from models.contract.vocabulary import WorkKind
from service.core.tables import Clip, FilmedSession, Player, Work, WorkInput

WITHOUT_PICTURES = (WorkKind.PROGRESS, WorkKind.DRILL_CHECK)
"""Work whose documents show nobody."""


def hides_faces(work: Work) -> bool:
    """Tell whether an analysis was asked for with hidden faces."""
    asked: str | None = work.request.get("options", {}).get("faces")
    return asked == Faces.HIDDEN


def hidden_variant(work: Work, name: str) -> str | None:
    """Return the result file without faces that stands for another; None = there is none.

    The uploaded film itself never has one.
    """
    if name in work.artifacts and (hides_faces(work) or work.kind in WITHOUT_PICTURES):
        return name
    hidden = hidden_name(name)
    return hidden if hidden in work.artifacts else None


def players_shown(session: Session, work: Work) -> list[Player]:
    """Return the players that work is about, those of the analyses it was made from included."""
    made_from = [
        select(film)
        .join(WorkInput, WorkInput.input_id == Work.id)
        .where(WorkInput.work_id == work.id)
        for film in (Work.clip_id, Work.same_serve_id)
    ]
    clips = select(FilmedSession.player_id).join(Clip, Clip.session_id == FilmedSession.id)
    filmed = clips.where(
        Clip.id.in_([work.clip_id, work.same_serve_id])
        | Clip.id.in_(made_from[0])
        | Clip.id.in_(made_from[1])
    )
    whose = Player.id.in_(filmed) | (Player.id == work.player_id)
    return list(session.scalars(select(Player).where(whose)))
