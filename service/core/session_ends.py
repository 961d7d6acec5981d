"""Tells when all films of a session are analysed: ``session.completed``.

It is written in the transaction in which an analysis of one of the session's films ends (completed
or failed), where every film that has arrived then has an analysis that has ended so, and none is
queued or running. So it comes once each time the session becomes complete: again after a film that
is added later, or an analysis that is made anew. Cancelled analyses do not count. Films that are
moved or erased, and uploads that only were announced, bring none.
"""

from __future__ import annotations

from collections import defaultdict
from datetime import datetime

from sqlalchemy import or_, select
from sqlalchemy.orm import Session

from models.contract.vocabulary import AnalysisStatus
from models.contract.webhook import WebhookData
from service.core.announcements import announce, ended
from service.core.material import UNFINISHED
from service.core.outbox import emit
from service.core.tables import Clip, FilmedSession, Work

ENDED = (AnalysisStatus.COMPLETED, AnalysisStatus.FAILED)


def lock_session_of(session: Session, work_id: str) -> None:
    """Lock the session that the film of an analysis is filed under, if any.

    Of analyses that end at the same moment the later one then sees the earlier. It comes before
    any lock on clips or work, as in erasing.
    """
    session.execute(
        select(FilmedSession.id)
        .join(Clip, Clip.session_id == FilmedSession.id)
        .join(Work, Work.clip_id == Clip.id)
        .where(Work.id == work_id)
        .with_for_update(key_share=True, of=FilmedSession)
    )


def announce_end(session: Session, now: datetime, row: Work, public_url: str) -> None:
    """Write the event of the end of this work, and that of its session where that is complete."""
    announce(session, now, row, ended(row), row.headline, public_url)
    if row.clip_id is None:
        return
    filmed = session.scalars(
        select(FilmedSession)
        .join(Clip, Clip.session_id == FilmedSession.id)
        .where(Clip.id == row.clip_id)
    ).one_or_none()
    counts = None if filmed is None else _counts(session, filmed.id)
    if filmed is None or counts is None:
        return
    player = f"{public_url}/v1/players/{filmed.player_id}"
    emit(
        session,
        now,
        tenant_id=filmed.tenant_id,
        type="session.completed",
        source=f"{player}/sessions",
        subject=filmed.id,
        session_id=filmed.id,
        data=WebhookData(
            resource="session",
            id=filmed.id,
            player_id=filmed.player_id,
            links={
                "self": f"{player}/sessions/{filmed.id}",
                "clips": f"{public_url}/v1/clips?session_id={filmed.id}",
                "analyses": f"{public_url}/v1/analyses?session_id={filmed.id}",
            },
            headline=counts,
        ),
    )


def _counts(session: Session, session_id: str) -> dict[str, int] | None:
    """Return how many films there are and what became of them; None = not all are through."""
    rows = session.execute(
        select(Clip.id, Work.status)
        .outerjoin(Work, or_(Work.clip_id == Clip.id, Work.same_serve_id == Clip.id))
        .where(Clip.session_id == session_id, Clip.state == "ready")
    ).all()
    found: dict[str, set[str | None]] = defaultdict(set)
    for clip_id, status in rows:
        found[clip_id].add(status)
    for seen in found.values():
        if seen.intersection(UNFINISHED) or not seen.intersection(ENDED):
            return None
    analysed = sum(AnalysisStatus.COMPLETED in seen for seen in found.values())
    return {"films": len(found), "analysed": analysed, "failed": len(found) - analysed}
