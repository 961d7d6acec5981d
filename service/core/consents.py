"""Consents for a player's films: recorded, read, and what came in under them.

Those given through an intake link are entered by :mod:`service.core.intake_links`; withdrawing one
is an erasure (:mod:`service.core.erasure`).
"""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import select
from sqlalchemy.orm import Session

from models.contract.consents import PlayerConsentRequest
from models.contract.errors import Forbidden, InvalidRequest, NotFound
from models.contract.note_codes import NoteCode, say
from service.core.database import Database
from service.core.identifiers import new_id
from service.core.players import CLOCK_AHEAD, find_player, known_minor
from service.core.principal import Principal
from service.core.tables import Consent, ResumableUpload


class Consents:
    """The consents of players."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def record(
        self, session: Session, principal: Principal, player_id: str, body: PlayerConsentRequest
    ) -> Consent:
        """Enter a consent that was given elsewhere in the caller's transaction."""
        player = find_player(session, principal, player_id)
        if principal.session_id is not None:  # it covers more than that session
            raise Forbidden(say(NoteCode.KEY_OF_ONE_SESSION))
        now = self._database.now(session)
        given_at = body.given_at or now
        if given_at > now + CLOCK_AHEAD:
            raise InvalidRequest(say(NoteCode.CONSENT_IN_FUTURE), pointer="/given_at")
        if body.given_by == "player" and known_minor(player, given_at):
            raise InvalidRequest(say(NoteCode.CONSENT_OF_GUARDIAN), pointer="/given_by")
        row = Consent(
            id=new_id("cns"),
            tenant_id=principal.tenant_id,
            player_id=player_id,
            created_at=now,
            given_at=given_at,
            given_by=body.given_by,
            name=body.name,
            version=body.version,
            text=body.text,
            covers=list(body.covers),
            keep_films_days=body.keep_films_days,
        )
        session.add(row)
        session.flush()
        return row

    def get(self, player_id: str, consent_id: str) -> Consent:
        """Return a consent for a player's films, or raise ``NotFound``."""
        with self._database.read() as session:
            return find_consent(session, player_id, consent_id)

    def clips_under(self, consent_ids: Sequence[str]) -> dict[str, tuple[str, ...]]:
        """Return the clips that came under each consent by a link."""
        found: dict[str, tuple[str, ...]] = dict.fromkeys(consent_ids, ())
        with self._database.read() as session:
            rows = session.execute(
                select(ResumableUpload.consent_id, ResumableUpload.clip_id)
                .where(
                    ResumableUpload.consent_id.in_(list(consent_ids)),
                    ResumableUpload.clip_id.is_not(None),
                )
                .order_by(ResumableUpload.created_at, ResumableUpload.id)
            )
            for consent_id, clip_id in rows:
                found[str(consent_id)] += (str(clip_id),)
        return {name: tuple(dict.fromkeys(clips)) for name, clips in found.items()}


def find_consent(session: Session, player_id: str, consent_id: str) -> Consent:
    """Return a consent for a player's films, or raise ``NotFound``."""
    row = session.scalars(
        select(Consent).where(Consent.id == consent_id, Consent.player_id == player_id)
    ).one_or_none()
    if row is None:
        raise NotFound()
    return row
