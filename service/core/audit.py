"""The audit log: who read or changed what, and when. Ids only, never names; rows are only added.

What a request was about is told by the ids in its path, or in the address of what it made. Entries
outlive what they are about, so that an erased player's films can still be accounted for.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from service.core.account_tables import AuditEntry
from service.core.database import Database
from service.core.identifiers import new_id
from service.core.reach import EVERYTHING
from service.core.tables import (
    Clip,
    Consent,
    FilmedSession,
    IntakeLink,
    ResumableUpload,
    ShareLink,
    Voice,
    Work,
)

_ID = re.compile(r"\b([a-z]{3,4})_[0-9a-f]{32}\b")
_WORK = frozenset({"ana", "cmp", "prg", "pln", "drl"})


@dataclass(frozen=True, slots=True)
class AuditActor:
    """Who did it. ``kind``: ``key``, ``link``, ``service`` (by itself) or ``command``."""

    kind: str
    id: str
    tenant_id: str


@dataclass(frozen=True, slots=True)
class AuditSubject:
    """What it was about: the resource, and whose it is, as far as known."""

    subject_id: str | None = None
    player_id: str | None = None


def ids_in(text: str) -> list[str]:
    """Return the identifiers of rows in a path, in order."""
    return [found.group(0) for found in _ID.finditer(text)]


def add_entry(
    session: Session, database: Database, actor: AuditActor, action: str, about: AuditSubject
) -> None:
    """Add an entry in the caller's transaction."""
    session.add(
        AuditEntry(
            id=new_id("aud"),
            tenant_id=actor.tenant_id,
            created_at=database.now(session),
            actor_kind=actor.kind,
            actor_id=actor.id,
            action=action,
            subject_id=about.subject_id,
            player_id=about.player_id,
        )
    )


class AuditLog:
    """Adds entries."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def note(self, actor: AuditActor, action: str, about: AuditSubject) -> None:
        """Add an entry for something that was read or changed."""
        with self._database.write(EVERYTHING) as session:
            add_entry(session, self._database, actor, action, about)

    def about(self, ids: list[str]) -> AuditSubject:
        """Return what a request with these ids in its path is about."""
        if not ids:
            return AuditSubject()
        player = next((one for one in ids if one.startswith("ply_")), None)
        if player is None:
            with self._database.read(EVERYTHING) as session:
                player = next(
                    filter(None, (player_of(session, one) for one in reversed(ids))), None
                )
        return AuditSubject(ids[-1], player)


def player_of_session(session: Session, session_id: str | None) -> str | None:
    """Return whose session it is; None for none."""
    return session.scalars(
        select(FilmedSession.player_id).where(FilmedSession.id == session_id)
    ).one_or_none()


def player_of(session: Session, row_id: str) -> str | None:
    """Return the player that a row is about; None where there is none, or not known any more."""
    kind = row_id.partition("_")[0]
    if kind == "ses":
        return player_of_session(session, row_id)
    if kind == "clip":
        clip = session.get(Clip, row_id)
        return None if clip is None else player_of_session(session, clip.session_id)
    if kind in _WORK:
        work = session.get(Work, row_id)
        if work is None or work.player_id is not None or work.clip_id is None:
            return None if work is None else work.player_id
        return player_of(session, work.clip_id)
    if kind == "shr":
        link = session.get(ShareLink, row_id)
        return None if link is None else player_of(session, link.work_id)
    owned = {
        "cns": Consent.player_id,
        "lnk": IntakeLink.player_id,
        "upl": ResumableUpload.player_id,
        "voc": Voice.player_id,
    }
    column = owned.get(kind)
    if column is None:
        return None
    return session.scalars(select(column).where(column.class_.id == row_id)).one_or_none()
