"""Analyses of clips as queued work."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import select, update
from sqlalchemy.orm import Session

from models.contract.clip import ClipFacts
from models.contract.errors import Conflict, NotFound
from models.contract.problem import Problem
from models.contract.vocabulary import AnalysisStatus
from models.contract.webhook import WebhookData
from service.core.access import Principal
from service.core.identifiers import new_id
from service.core.outbox import emit
from service.core.players import may_be_minor
from service.core.tables import Analysis, Clip, FilmedSession, Player
from service.core.work import StoredFile, WorkStore, as_new, event_type


@dataclass(frozen=True, slots=True)
class Claim:
    """Work that a worker now owns.

    Attributes
    ----------
    attempt : int
        Fencing token; give it back with every call.
    crashes : int
        Workers this analysis has taken down so far.
    result_prefix : str
        Write every result object below this prefix (``…/joints.npz``); it belongs to the attempt.
    options : dict
        What the caller asked for, as in ``models.contract.resources.AnalysisOptions``.
    minor : bool
        The player may be under 18.
    """

    analysis_id: str
    attempt: int
    crashes: int
    lease_until: datetime
    clip_id: str
    clip_key: str
    clip_sha256: str
    clip_size_bytes: int
    clip_media_type: str
    options: dict[str, Any]
    result_prefix: str
    minor: bool = False


def result_root(analysis_id: str) -> str:
    """Return the prefix below which all attempts of an analysis write."""
    return f"analyses/{analysis_id}"


def result_prefix(analysis_id: str, attempt: int) -> str:
    """Return the prefix below which one attempt writes."""
    return f"{result_root(analysis_id)}/{attempt}"


class AnalysisStore(WorkStore[Analysis]):
    """Moves analyses through their life."""

    table = Analysis
    noun = "analysis"

    def root(self, work_id: str) -> str:
        """Return the prefix below which all attempts write."""
        return result_root(work_id)

    def address(self, row: Analysis) -> str:
        """Return the path in the API."""
        return f"/v1/analyses/{row.id}"

    def create(
        self,
        principal: Principal,
        clip_id: str,
        options: dict[str, Any],
        external_ref: str | None = None,
        session: Session | None = None,
    ) -> Analysis:
        """Enter a new analysis of a clip that is ready. Enqueue it after the commit.

        What the options leave open is taken from the player of the clip's session.

        Parameters
        ----------
        session : Session or None
            Transaction to join, when more must be written together with it.
        """
        if session is None:
            with self._database.write() as session:
                return self.create(principal, clip_id, options, external_ref, session)
        clip = session.scalars(
            select(Clip).where(Clip.id == clip_id, Clip.tenant_id == principal.tenant_id)
        ).one_or_none()
        if clip is None:
            raise NotFound("There is no clip under that clip_id. Upload the film first.")
        if clip.state != "ready":
            raise Conflict("The upload of this clip is not complete. Complete it first.")
        row = Analysis(
            id=new_id("ana"),
            tenant_id=principal.tenant_id,
            clip_id=clip_id,
            options=_completed_by_player(options, *_who(session, clip)),
            external_ref=external_ref,
            **as_new(self._database.now(session)),
        )
        session.add(row)
        session.flush()
        return row

    def claim(self, analysis_id: str, attempt: int, holder: str) -> Claim:
        """Take the work. Raises ``LeaseLost``, ``Cancelled`` or ``Erased`` when it is not yours."""
        with self._database.write() as session:
            row = self._claim(session, analysis_id, attempt, holder)
            clip = session.get_one(Clip, row.clip_id)
            _, player = _who(session, clip)
            now = self._database.now(session)
            assert clip.sha256 is not None
            assert clip.size_bytes is not None
            assert row.lease_until is not None
            return Claim(
                analysis_id=row.id,
                attempt=attempt,
                crashes=row.crashes,
                lease_until=row.lease_until,
                clip_id=clip.id,
                clip_key=clip.object_key,
                clip_sha256=clip.sha256,
                clip_size_bytes=clip.size_bytes,
                clip_media_type=clip.media_type,
                options=dict(row.options),
                result_prefix=result_prefix(row.id, attempt),
                minor=player is not None and may_be_minor(player, now),
            )

    def complete(
        self,
        work_id: str,
        attempt: int,
        artifacts: Mapping[str, StoredFile],
        *,
        headline: Mapping[str, Any] | None = None,
        facts: ClipFacts | None = None,
    ) -> None:
        """Make the results visible, and note what was learnt about the clip."""
        self._check(work_id, attempt, artifacts)
        with self._database.write() as session:
            row = self._complete(session, work_id, attempt, artifacts, headline)
            if facts is not None:
                session.execute(
                    update(Clip)
                    .where(Clip.id == row.clip_id)
                    .values(facts=facts.model_dump(mode="json"))
                )

    def _announce(self, session: Session, now: datetime, row: Analysis) -> None:
        emit(
            session,
            now,
            tenant_id=row.tenant_id,
            type=event_type("analysis", row),
            source=f"{self._public_url}/v1/analyses",
            subject=row.id,
            clip_id=row.clip_id,
            analysis_id=row.id,
            data=WebhookData(
                resource="analysis",
                id=row.id,
                status=AnalysisStatus(row.status),
                clip_id=row.clip_id,
                external_ref=row.external_ref,
                links=self._links(row),
                headline=row.headline,
                problem=Problem.model_validate(row.problem) if row.problem else None,
            ),
        )


def _who(session: Session, clip: Clip) -> tuple[FilmedSession | None, Player | None]:
    """Return the session and the player of a clip, if it is filed under any."""
    if clip.session_id is None:
        return None, None
    filmed = session.get_one(FilmedSession, clip.session_id)
    return filmed, session.get_one(Player, filmed.player_id)


def _completed_by_player(
    options: dict[str, Any], filmed: FilmedSession | None, player: Player | None
) -> dict[str, Any]:
    """Return the options with the gaps filled by what is known of the player."""
    if player is None or filmed is None:
        return options
    known = {
        "height_m": player.height_m,
        "handedness": player.handedness,
        "sex": player.sex,
        "drill": filmed.drill_stage,
    }
    open_values = (None, "unknown")
    return options | {
        name: value
        for name, value in known.items()
        if value not in open_values and options.get(name) in open_values
    }
