"""Analyses: start, follow, cancel, and fetch the results."""

from __future__ import annotations

import logging
from typing import Annotated

from fastapi import APIRouter, Path, Query, Request, Response
from sqlalchemy.orm import Session

from models import registry
from models.contract.analysis import Analysis as AnalysisDocument
from models.contract.errors import InvalidRequest, QueueUnavailable
from models.contract.joints import Joints
from models.contract.problem import Problem
from models.contract.resources import (
    AnalysisId,
    AnalysisOptions,
    AnalysisPage,
    AnalysisRequest,
    AnalysisResource,
    ClipId,
    Events,
    Metrics,
)
from models.contract.vocabulary import AnalysisStatus, Stage
from service.api.dependencies import (
    CanAnalyse,
    CanReadResults,
    IdempotencyKey,
    Paging,
    Wired,
    represent,
)
from service.api.results import send_result
from service.core.access import Principal
from service.core.keyset import page
from service.core.tables import Analysis
from service.core.wiring import Wiring

logger = logging.getLogger(__name__)
router = APIRouter(prefix="/v1/analyses", tags=["analyses"])

AnalysisPath = Annotated[AnalysisId, Path(examples=["ana_0198f0a1b2c37d4e8f90a1b2c3d4e5f6"])]
PicturePath = Annotated[str, Path(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,99}$")]
PICTURES = "pictures/"
SCHEMAS = {
    "result": "analysis.v1.json",
    "joints": "joints.v1.json",
    "events": "events.v1.json",
    "metrics": "metrics.v1.json",
}


def analysis_resource(row: Analysis) -> AnalysisResource:
    """Return an analysis row as a resource."""
    here = f"/v1/analyses/{row.id}"
    links = {"self": here, "clip": f"/v1/clips/{row.clip_id}"}
    if row.status in (AnalysisStatus.QUEUED, AnalysisStatus.RUNNING):
        links["cancel"] = f"{here}/cancel"
    pictures = []
    for name in row.artifacts:
        if name.startswith(PICTURES):
            pictures.append(f"{here}/{name}")
        else:
            links[name] = f"{here}/{name}"
    return AnalysisResource(
        id=row.id,
        clip_id=row.clip_id,
        status=AnalysisStatus(row.status),
        stage=Stage(row.stage) if row.stage else None,
        progress=row.progress,
        attempt=row.attempt,
        created_at=row.created_at,
        started_at=row.started_at,
        finished_at=row.finished_at,
        options=AnalysisOptions.model_validate(row.options),
        external_ref=row.external_ref,
        headline=row.headline,
        problem=Problem.model_validate(row.problem) if row.problem else None,
        pictures=tuple(pictures),
        links=links,
    )


def _with_output(output: str) -> list[str]:
    """Return the shipped networks that give such an output."""
    return [
        name
        for name in registry.names()
        if any(output == given.name for given in registry.entry(name).outputs)
    ]


def _check_models(asked: tuple[str, ...] | None) -> None:
    """Refuse pose networks that a worker could not use, before there is anything to do."""
    if asked is None:
        return
    main, second = _with_output("world"), _with_output("keypoints")
    first, *others = asked
    if first not in main or len(others) > 1 or not set(others) <= set(second):
        raise InvalidRequest(
            f"Name one of {', '.join(main)} first, then {' or '.join(second)} or nothing.",
            pointer="/options/models",
        )


@router.post(
    "",
    operation_id="start_analysis",
    summary="Start an analysis",
    status_code=201,
    response_model=AnalysisResource,
)
def start_analysis(
    request: Request,
    wired: Wired,
    principal: CanAnalyse,
    body: AnalysisRequest,
    key: IdempotencyKey,
) -> Response:
    """Start the analysis of a clip. Follow it under its address or by webhook."""

    def effect(session: Session) -> str:
        options = body.options.model_dump(mode="json")
        row = wired.analyses.create(principal, body.clip_id, options, body.external_ref, session)
        _check_models(body.options.models)
        return row.id

    reply = wired.idempotency.once(
        principal, "POST /v1/analyses", key, body.model_dump(mode="json"), effect
    )
    row = wired.analyses.get(principal, reply.resource_id)
    if not reply.replayed:
        try:
            wired.queue.enqueue(row.id, row.attempt)
        except QueueUnavailable:  # accepted all the same: the reconciler sends it
            logger.warning("queue unavailable; analysis %s waits for the reconciler", row.id)
    resource = analysis_resource(row)
    headers = {"location": resource.links["self"]}
    if reply.replayed:
        headers["idempotency-replayed"] = "true"
    return represent(request, resource, 201, headers)


@router.get(
    "",
    operation_id="list_analyses",
    summary="List analyses, newest first",
    response_model=AnalysisPage,
)
def list_analyses(
    request: Request,
    response: Response,
    wired: Wired,
    principal: CanReadResults,
    paging: Paging,
    clip_id: Annotated[ClipId | None, Query()] = None,
    status: Annotated[AnalysisStatus | None, Query()] = None,
) -> AnalysisPage:
    """List analyses, newest first."""
    filters = {"clip_id": clip_id, "status": status.value if status else None}
    found = page(
        wired.database,
        Analysis,
        principal,
        after=paging.after("analyses", filters),
        limit=paging.limit,
        filters=filters,
    )
    cursor = paging.finish(response, request.url.path, "analyses", filters, found.next)
    items = tuple(analysis_resource(row) for row in found.rows)
    return AnalysisPage(items=items, next_cursor=cursor)


@router.get(
    "/{analysis_id}",
    operation_id="read_analysis",
    summary="Read where an analysis stands",
    response_model=AnalysisResource,
)
@router.head("/{analysis_id}", include_in_schema=False)
def read_analysis(
    request: Request, wired: Wired, principal: CanReadResults, analysis_id: AnalysisPath
) -> Response:
    """Read status, stage, progress (0 to 1) and, at the end, the links to the results."""
    return represent(request, analysis_resource(wired.analyses.get(principal, analysis_id)))


@router.post(
    "/{analysis_id}/cancel",
    operation_id="cancel_analysis",
    summary="Cancel an analysis",
    response_model=AnalysisResource,
)
def cancel_analysis(
    request: Request, wired: Wired, principal: CanAnalyse, analysis_id: AnalysisPath
) -> Response:
    """Cancel work that has not ended. A running worker stops within seconds; nothing is kept."""
    row = wired.analyses.cancel(principal, analysis_id)
    try:
        wired.queue.remove(row.id, row.attempt)
    except QueueUnavailable:  # the job finds the analysis cancelled
        logger.warning("queue unavailable; cancelled analysis %s stays listed there", row.id)
    return represent(request, analysis_resource(row))


def _send(
    request: Request, wired: Wiring, principal: Principal, analysis_id: str, name: str
) -> Response:
    return send_result(request, wired, wired.analyses.get(principal, analysis_id), name, SCHEMAS)


@router.get(
    "/{analysis_id}/result",
    operation_id="read_result",
    summary="Fetch the whole result",
    response_model=AnalysisDocument,
)
@router.head("/{analysis_id}/result", include_in_schema=False)
def read_result(
    request: Request, wired: Wired, principal: CanReadResults, analysis_id: AnalysisPath
) -> Response:
    """Fetch everything measured in the clip, as one document."""
    return _send(request, wired, principal, analysis_id, "result")


@router.get(
    "/{analysis_id}/joints",
    operation_id="read_joints",
    summary="Fetch the joints as JSON",
    response_model=Joints,
)
@router.head("/{analysis_id}/joints", include_in_schema=False)
def read_joints(
    request: Request, wired: Wired, principal: CanReadResults, analysis_id: AnalysisPath
) -> Response:
    """Fetch the landmarks of every frame and the fitted body."""
    return _send(request, wired, principal, analysis_id, "joints")


@router.get(
    "/{analysis_id}/joints.npz",
    operation_id="read_joints_arrays",
    summary="Fetch the joints as arrays",
    response_class=Response,
    responses={200: {"content": {"application/octet-stream": {}}, "description": "NumPy arrays."}},
)
@router.head("/{analysis_id}/joints.npz", include_in_schema=False)
def read_joints_arrays(
    request: Request, wired: Wired, principal: CanReadResults, analysis_id: AnalysisPath
) -> Response:
    """Fetch the landmarks of every frame as compact NumPy arrays."""
    return _send(request, wired, principal, analysis_id, "joints.npz")


@router.get(
    "/{analysis_id}/events",
    operation_id="read_events",
    summary="Fetch the events",
    response_model=Events,
)
@router.head("/{analysis_id}/events", include_in_schema=False)
def read_events(
    request: Request, wired: Wired, principal: CanReadResults, analysis_id: AnalysisPath
) -> Response:
    """Fetch when things happen in each repetition."""
    return _send(request, wired, principal, analysis_id, "events")


@router.get(
    "/{analysis_id}/metrics",
    operation_id="read_metrics",
    summary="Fetch the metrics",
    response_model=Metrics,
)
@router.head("/{analysis_id}/metrics", include_in_schema=False)
def read_metrics(
    request: Request, wired: Wired, principal: CanReadResults, analysis_id: AnalysisPath
) -> Response:
    """Fetch the measured values of each repetition, with interval, unit and measurability."""
    return _send(request, wired, principal, analysis_id, "metrics")


@router.get(
    "/{analysis_id}/pictures/{name}",
    operation_id="read_picture",
    summary="Fetch a picture",
    response_class=Response,
    responses={
        200: {"content": {"image/png": {}, "image/jpeg": {}}, "description": "The picture."}
    },
)
@router.head("/{analysis_id}/pictures/{name}", include_in_schema=False)
def read_picture(
    request: Request,
    wired: Wired,
    principal: CanReadResults,
    analysis_id: AnalysisPath,
    name: PicturePath,
) -> Response:
    """Fetch a picture of an event with the skeleton and the measured numbers drawn on it."""
    return _send(request, wired, principal, analysis_id, PICTURES + name)


@router.get(
    "/{analysis_id}/report.html",
    operation_id="read_report",
    summary="Fetch the report",
    response_class=Response,
    responses={200: {"content": {"text/html": {}}, "description": "One self-contained page."}},
)
@router.head("/{analysis_id}/report.html", include_in_schema=False)
def read_report(
    request: Request, wired: Wired, principal: CanReadResults, analysis_id: AnalysisPath
) -> Response:
    """Fetch the report for the player: one page with all pictures, complete without any host."""
    return _send(request, wired, principal, analysis_id, "report.html")


@router.get(
    "/{analysis_id}/film.mp4",
    operation_id="read_annotated_film",
    summary="Fetch the annotated film",
    response_class=Response,
    responses={200: {"content": {"video/mp4": {}}, "description": "The film."}},
)
@router.head("/{analysis_id}/film.mp4", include_in_schema=False)
def read_annotated_film(
    request: Request, wired: Wired, principal: CanReadResults, analysis_id: AnalysisPath
) -> Response:
    """Fetch the film with the marks drawn in (where the option `annotated_film` asked for it)."""
    return _send(request, wired, principal, analysis_id, "film.mp4")
