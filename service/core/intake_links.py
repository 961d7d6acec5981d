"""Intake links: made and ended by an organisation, and the consent that is given through them."""

from __future__ import annotations

import hmac
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Literal

from sqlalchemy import delete, func, select
from sqlalchemy.orm import Session

from models.contract.consents import ConsentRequest
from models.contract.errors import (
    ConsentNeeded,
    InvalidRequest,
    LinkFull,
    LinkNotShownAgain,
    NotFound,
)
from models.contract.intake import IntakeLinkRequest
from models.contract.note_codes import NoteCode, say
from service.core.database import Database
from service.core.identifiers import new_id
from service.core.key_text import digest_of
from service.core.players import find_player, find_session, known_minor
from service.core.principal import Principal
from service.core.tables import Consent, IntakeLink, Player, ResumableUpload

VISIT = timedelta(hours=24)
"""For how long films can be sent under one consent (working value): a bad network takes its time,
and the person who agreed should still be the one who sends."""


@dataclass(frozen=True, slots=True)
class Tally:
    """What has come or is coming through a link, and is still here."""

    films: int = 0
    bytes: int = 0


class IntakeLinks:
    """The intake links of organisations."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def enter(
        self,
        session: Session,
        principal: Principal,
        body: IntakeLinkRequest,
        secret: str,
        link_id: str,
    ) -> IntakeLink:
        """Enter a link in the caller's transaction."""
        player_id = body.player_id
        if player_id is not None:
            find_player(session, principal, player_id)
        if body.session_id is not None:
            player_id = find_session(session, principal, body.session_id, player_id).player_id
        now = self._database.now(session)
        row = IntakeLink(
            id=link_id,
            tenant_id=principal.tenant_id,
            created_at=now,
            label=body.label,
            digest=digest_of(secret),
            player_id=player_id,
            session_id=body.session_id,
            session_kind=body.session_kind,
            max_films=body.max_films,
            max_bytes=body.max_bytes,
            expires_at=now + timedelta(days=body.expires_in_days),
            consent_text=body.consent.text,
            consent_version=body.consent.version,
            consent_covers=list(body.consent.covers),
            consent_keep_days=body.consent.keep_films_days,
            analyse=None if body.analyse is None else body.analyse.model_dump(mode="json"),
            external_ref=body.external_ref,
        )
        session.add(row)
        session.flush()
        return row

    def get(self, principal: Principal, link_id: str) -> IntakeLink:
        """Return a link of this tenant, or raise ``NotFound``."""
        with self._database.read() as session:
            return _find(session, principal, link_id)

    def require_secret(self, principal: Principal, link_id: str, secret: str) -> None:
        """Raise ``LinkNotShownAgain`` unless this is the secret that the link was made with."""
        if not hmac.compare_digest(self.get(principal, link_id).digest, digest_of(secret)):
            raise LinkNotShownAgain(about=link_id)

    def revoke(self, principal: Principal, link_id: str) -> None:
        """End a link at once, unfinished uploads included."""
        with self._database.write() as session:
            row = _find(session, principal, link_id, lock=True)
            row.revoked_at = row.revoked_at or self._database.now(session)

    def tallies(self, link_ids: Sequence[str]) -> dict[str, Tally]:
        """Return what came through each link."""
        found = dict.fromkeys(link_ids, Tally())
        with self._database.read() as session:
            for link_id in link_ids:
                found[link_id] = _tally(session, link_id)
        return found

    def now(self) -> datetime:
        """Return the present time by the clock of the database."""
        with self._database.read() as session:
            return self._database.now(session)

    def require_room(self, session: Session, link_id: str, length: int) -> None:
        """Raise ``LinkFull`` when another film of this size is too much.

        Holds the link until the transaction ends, so that two at a moment do not go over.
        """
        link = session.scalars(
            select(IntakeLink).where(IntakeLink.id == link_id).with_for_update()
        ).one_or_none()
        if link is None:
            raise NotFound()
        had = _tally(session, link_id)
        if had.films >= link.max_films:
            raise LinkFull(say(NoteCode.LINK_FILMS, limit=link.max_films), about=link_id)
        if link.max_bytes is not None and had.bytes + length > link.max_bytes:
            left = max(0, link.max_bytes - had.bytes)
            raise LinkFull(say(NoteCode.LINK_BYTES, limit=link.max_bytes, left=left), about=link_id)

    def guardian_only(self, link: IntakeLink) -> bool:
        """Tell whether the player is known to be a minor, who cannot consent alone."""
        if link.player_id is None:
            return False
        with self._database.read() as session:
            player = session.get_one(Player, link.player_id)
            return known_minor(player, self._database.now(session))

    def consent(self, session: Session, link: IntakeLink, body: ConsentRequest) -> Consent:
        """Enter a consent in the caller's transaction."""
        if body.version != link.consent_version:
            raise ConsentNeeded(say(NoteCode.CONSENT_VERSION), about=link.id)
        if body.given_by == "player" and self.guardian_only(link):
            raise InvalidRequest(say(NoteCode.CONSENT_OF_GUARDIAN), pointer="/given_by")
        now = self._database.now(session)
        row = Consent(
            id=new_id("cns"),
            tenant_id=link.tenant_id,
            link_id=link.id,
            player_id=link.player_id,
            session_id=link.session_id,
            created_at=now,
            given_at=now,
            expires_at=now + VISIT,
            given_by=body.given_by,
            name=body.name,
            version=body.version,
            text=link.consent_text,
            covers=link.consent_covers,
            keep_films_days=link.consent_keep_days,
        )
        session.add(row)
        session.flush()
        return row

    def get_consent(self, link_id: str, consent_id: str) -> Consent:
        """Return a consent given through a link, or raise ``NotFound``."""
        with self._database.read() as session:
            return _consent(session, link_id, consent_id)

    def require_consent(self, session: Session, link_id: str, consent_id: str | None) -> None:
        """Raise ``ConsentNeeded`` unless this consent was given through the link and holds."""
        try:
            held = _consent(session, link_id, consent_id or "")
        except NotFound:
            raise ConsentNeeded(about=link_id) from None
        over = held.expires_at is None or held.expires_at <= self._database.now(session)
        if over or held.withdrawn_at is not None:
            raise ConsentNeeded(about=link_id)

    def forget_unused(self) -> None:
        """Erase consents that are over and under which no film is here."""
        with self._database.write() as session:
            used = select(ResumableUpload.consent_id).where(ResumableUpload.consent_id.is_not(None))
            session.execute(
                delete(Consent).where(
                    Consent.expires_at < self._database.now(session),
                    Consent.withdrawn_at.is_(None),
                    Consent.id.not_in(used),
                )
            )


def state_of_link(
    link: IntakeLink, had: Tally, now: datetime
) -> Literal["open", "full", "expired", "revoked"]:
    """Return whether films may come through a link."""
    if link.revoked_at is not None:
        return "revoked"
    if link.expires_at <= now:
        return "expired"
    full = link.max_bytes is not None and had.bytes >= link.max_bytes
    return "full" if full or had.films >= link.max_films else "open"


def _find(
    session: Session, principal: Principal, link_id: str, *, lock: bool = False
) -> IntakeLink:
    query = select(IntakeLink).where(
        IntakeLink.id == link_id, IntakeLink.tenant_id == principal.tenant_id
    )
    row = session.scalars(query.with_for_update() if lock else query).one_or_none()
    if row is None:
        raise NotFound()
    return row


def _consent(session: Session, link_id: str, consent_id: str) -> Consent:
    row = session.scalars(
        select(Consent).where(Consent.id == consent_id, Consent.link_id == link_id)
    ).one_or_none()
    if row is None:
        raise NotFound()
    return row


def _tally(session: Session, link_id: str) -> Tally:
    taken: Any = ResumableUpload.finished_at.is_(None) | ResumableUpload.clip_id.is_not(None)
    films, size = session.execute(
        select(func.count(), func.sum(ResumableUpload.length)).where(
            ResumableUpload.link_id == link_id, taken
        )
    ).one()
    return Tally(films, int(size or 0))
