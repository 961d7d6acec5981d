"""Share links: some files of one piece of work, readable without a key for a while."""

from __future__ import annotations

import hmac
from datetime import datetime, timedelta
from typing import Literal

from sqlalchemy import select, update
from sqlalchemy.orm import Session

from models.contract.errors import (
    InvalidRequest,
    LinkNotShownAgain,
    NotFound,
    WorkNotEnded,
    WorkWithoutResult,
)
from models.contract.note_codes import NoteCode, say
from models.contract.shares import ShareLinkRequest
from models.contract.vocabulary import AnalysisStatus
from service.core.database import Database
from service.core.hidden_faces import hidden_variant, players_shown
from service.core.key_text import digest_of
from service.core.players import may_be_minor
from service.core.principal import Principal
from service.core.tables import ShareLink, Work

CLIP = "clip"
"""Name of the film that an analysis is of, among the files that can be shared."""


class ShareLinks:
    """The share links of organisations."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def enter(
        self,
        session: Session,
        principal: Principal,
        body: ShareLinkRequest,
        secret: str,
        link_id: str,
    ) -> ShareLink:
        """Enter a link in the caller's transaction, provided that there is what it shows."""
        work = session.scalars(
            select(Work).where(Work.id == body.of, Work.tenant_id == principal.tenant_id)
        ).one_or_none()
        if work is None:
            raise NotFound()
        if work.status in (AnalysisStatus.QUEUED, AnalysisStatus.RUNNING):
            raise WorkNotEnded(about=work.id)
        if work.status != AnalysisStatus.COMPLETED:
            raise WorkWithoutResult(about=work.id)
        for number, name in enumerate(body.files):
            if name not in work.artifacts and not (name == CLIP and work.clip_id is not None):
                raise InvalidRequest(
                    say(NoteCode.SHARE_FILE_MISSING, file=name), pointer=f"/files/{number}"
                )
        now = self._database.now(session)
        row = ShareLink(
            id=link_id,
            tenant_id=principal.tenant_id,
            created_at=now,
            work_id=work.id,
            files=list(dict.fromkeys(body.files)),
            digest=digest_of(secret),
            expires_at=now + timedelta(days=body.expires_in_days),
            views=0,
        )
        session.add(row)
        session.flush()
        return row

    def get(self, principal: Principal, link_id: str) -> ShareLink:
        """Return a link of this tenant, or raise ``NotFound``."""
        with self._database.read() as session:
            return _find(session, principal, link_id)

    def require_secret(self, principal: Principal, link_id: str, secret: str) -> None:
        """Raise ``LinkNotShownAgain`` unless this is the secret that the link was made with."""
        if not hmac.compare_digest(self.get(principal, link_id).digest, digest_of(secret)):
            raise LinkNotShownAgain(about=link_id)

    def revoke(self, principal: Principal, link_id: str) -> None:
        """End a link at once."""
        with self._database.write() as session:
            row = _find(session, principal, link_id)
            row.revoked_at = row.revoked_at or self._database.now(session)

    def viewed(self, link_id: str) -> None:
        """Count that the page of a link was opened."""
        with self._database.write() as session:
            session.execute(
                update(ShareLink)
                .where(ShareLink.id == link_id)
                .values(views=ShareLink.views + 1, last_viewed_at=self._database.now(session))
            )

    def may_show_minor(self, work: Work) -> bool:
        """Tell whether shared work shows a player who may be under 18."""
        with self._database.read() as session:
            now = self._database.now(session)
            return any(may_be_minor(one, now) for one in players_shown(session, work))

    def as_shared(self, work: Work, name: str) -> str | None:
        """Return the file that a guest gets for one of a link; None = none may be shown.

        Decided when it is asked for: a player's year of birth can be entered later.
        """
        gone = name != CLIP and name not in work.artifacts
        return name if gone or not self.may_show_minor(work) else hidden_variant(work, name)

    def now(self) -> datetime:
        """Return the present time by the clock of the database."""
        with self._database.read() as session:
            return self._database.now(session)


def state_of_share(link: ShareLink, now: datetime) -> Literal["open", "expired", "revoked"]:
    """Return whether files may be read through a link."""
    if link.revoked_at is not None:
        return "revoked"
    return "expired" if link.expires_at <= now else "open"


def _find(session: Session, principal: Principal, link_id: str) -> ShareLink:
    row = session.scalars(
        select(ShareLink).where(ShareLink.id == link_id, ShareLink.tenant_id == principal.tenant_id)
    ).one_or_none()
    if row is None:
        raise NotFound()
    return row
