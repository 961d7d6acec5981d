"""Rows of work as resources of the API."""

from __future__ import annotations

from typing import Any

from models.contract.coaching import DerivedResource
from models.contract.first_look import FirstLook
from models.contract.problem import Problem
from models.contract.resources import AnalysisOptions, AnalysisResource
from models.contract.vocabulary import AnalysisStatus, Role, Stage, WorkKind
from service.core.announcements import address_of
from service.core.tables import Work

PICTURES = "pictures/"
UNFINISHED = (AnalysisStatus.QUEUED, AnalysisStatus.RUNNING)


def analysis_resource(row: Work, _inputs: tuple[str, ...]) -> AnalysisResource:
    """Return an analysis as a resource."""
    assert row.clip_id is not None
    others = {"clip": f"/v1/clips/{row.clip_id}"}
    if row.same_serve_id is not None:
        others["same_serve"] = f"/v1/clips/{row.same_serve_id}"
    if earlier := row.request.get("again"):
        others["earlier"] = f"/v1/analyses/{earlier}"
    return AnalysisResource(
        **_life(row),
        clip_id=row.clip_id,
        same_serve=row.same_serve_id,
        stage=Stage(row.stage) if row.stage else None,
        options=AnalysisOptions.model_validate(row.request["options"]),
        role=Role(row.role or Role.PLAYER),
        time_left_s=row.time_left_s,
        first_look=FirstLook.model_validate(row.first_look) if row.first_look else None,
        links=_links(row, others),
    )


def derived_resource(row: Work, inputs: tuple[str, ...]) -> DerivedResource:
    """Return a document made from analyses as a resource."""
    player = {"player": f"/v1/players/{row.player_id}"} if row.player_id is not None else {}
    return DerivedResource(
        **_life(row),
        kind=WorkKind(row.kind),
        player_id=row.player_id,
        analyses=inputs,
        links=_links(row, player),
    )


def _life(row: Work) -> dict[str, Any]:
    """Return what all kinds of work tell alike."""
    here = address_of(row)
    return {
        "id": row.id,
        "status": AnalysisStatus(row.status),
        "progress": row.progress,
        "attempt": row.attempt,
        "created_at": row.created_at,
        "started_at": row.started_at,
        "finished_at": row.finished_at,
        "external_ref": row.external_ref,
        "headline": row.headline,
        "problem": Problem.model_validate(row.problem) if row.problem else None,
        "pictures": tuple(f"{here}/{name}" for name in row.artifacts if name.startswith(PICTURES)),
    }


def _links(row: Work, others: dict[str, str]) -> dict[str, str]:
    here = address_of(row)
    links = {"self": here, **others}
    if row.status in UNFINISHED:
        links["cancel"] = f"{here}/cancel"
    if row.status == AnalysisStatus.COMPLETED:
        links["keeping"] = f"/v1/keeping/{row.id}"
    results = {name: f"{here}/{name}" for name in row.artifacts if "/" not in name}
    return links | results
