"""Events about queued work: that it ended, or what a first look at its film gave."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy.orm import Session

from models.contract.first_look import FirstLook
from models.contract.problem import Problem
from models.contract.vocabulary import AnalysisStatus, WorkKind
from models.contract.webhook import EventType, WebhookData
from service.core.kinds import KINDS
from service.core.outbox import emit
from service.core.tables import Work
from service.core.traces import carried


def address_of(row: Work) -> str:
    """Return the path of a piece of work in the API."""
    return KINDS[WorkKind(row.kind)].address(row.id, row.player_id)


def announce(
    session: Session,
    now: datetime,
    row: Work,
    event: EventType,
    headline: dict[str, Any],
    public_url: str,
) -> None:
    """Write an event about the work in the caller's transaction.

    Parameters
    ----------
    headline : dict
        A few values, thin: who wants more fetches it.
    public_url : str
        Base of the links; empty = relative ones.
    """
    kind = KINDS[WorkKind(row.kind)]
    here = f"{public_url}{address_of(row)}"
    links = {"self": here}
    links |= {name: f"{here}/{name}" for name in row.artifacts if "/" not in name}
    emit(
        session,
        now,
        tenant_id=row.tenant_id,
        type=event,
        source=f"{public_url}{kind.list_path(row.player_id)}",
        subject=row.id,
        clip_id=row.clip_id,
        work_id=row.id,
        traceparent=carried() or row.traceparent,
        data=WebhookData(
            resource=row.kind,
            id=row.id,
            status=AnalysisStatus(row.status),
            clip_id=row.clip_id,
            same_serve=row.same_serve_id,
            player_id=row.player_id,
            external_ref=row.external_ref,
            links=links,
            headline=headline,
            problem=Problem.model_validate(row.problem) if row.problem else None,
        ),
    )


def ended(row: Work) -> EventType:
    """Return the type of the event that tells of the end of the work."""
    done = row.status == AnalysisStatus.COMPLETED
    return KINDS[WorkKind(row.kind)].event("completed" if done else "failed")


def verdict_headline(verdict: FirstLook) -> dict[str, Any]:
    """Return the few values that the event of a first look carries."""
    return {
        "usable": verdict.usability.usable,
        "likely_work": len(verdict.likely_work),
        "view": verdict.view.label.value,
        "not_passed": [check.key for check in verdict.usability.checks if not check.passed],
        "problems": [problem.code for problem in verdict.problems],
    }
