"""Analyses: start, follow, cancel, erase, and fetch the results."""

from __future__ import annotations

from typing import Annotated

from fastapi import Path, Request, Response
from sqlalchemy.orm import Session

from models import registry
from models.contract.again import AgainRequest
from models.contract.analysis import Analysis
from models.contract.errors import InvalidRequest
from models.contract.joints import Joints
from models.contract.note_codes import NoteCode, say
from models.contract.resources import (
    AnalysisChange,
    AnalysisId,
    AnalysisPage,
    AnalysisRequest,
    AnalysisResource,
    Events,
    Metrics,
)
from models.contract.vocabulary import WorkKind
from service.api.dependencies import (
    CanAnalyse,
    IdempotencyKey,
    MayMatch,
    Wired,
    heed_match,
    represent,
)
from service.api.work_resources import analysis_resource
from service.api.work_routes import Offer, OperationText, Result, started, work_router
from service.core.principal import Principal
from service.core.roles import mark
from service.core.tables import Work
from service.core.wiring import Wiring

AnalysisPath = Annotated[AnalysisId, Path(examples=["ana_0198f0a1b2c37d4e8f90a1b2c3d4e5f6"])]


def _enter(
    wired: Wiring,
    session: Session,
    principal: Principal,
    body: AnalysisRequest,
    _player_id: str | None,
) -> Work:
    row = wired.requests.analysis(session, principal, body)
    _check_models(body.options.models)
    return row


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
            say(NoteCode.NETWORKS_ASKED, first=tuple(main), second=tuple(second)),
            pointer="/options/models",
        )


RESULTS = (
    Result(
        "result",
        OperationText(
            "read_result",
            "Fetch the whole result",
            "Fetch everything measured in the clip, as one document. Analyses made before version "
            "2 of this document keep `analysis.v1.json`: `schema` in the document and the `Link` "
            "header say which; reasons, details and cautions are bare sentences there.",
        ),
        model=Analysis,
        schema="analysis.v1.json",  # of files stored without saying
    ),
    Result(
        "joints",
        OperationText(
            "read_joints",
            "Fetch the joints as JSON",
            "Fetch the landmarks of every frame (left and right are the person's own) and the "
            "fitted body (joints named by role). Analyses made before version 2 of this document "
            "keep `joints.v1.json`: `schema` in the document and the `Link` header say which; it "
            "differs in the names of the body's joints only, `left_*` for tossing and front, "
            "`right_*` for hitting and rear.",
        ),
        model=Joints,
        schema="joints.v1.json",  # of files stored without saying
    ),
    Result(
        "joints.npz",
        OperationText(
            "read_joints_arrays",
            "Fetch the joints as arrays",
            "Fetch the landmarks of every frame as compact NumPy arrays.",
        ),
        media=("application/octet-stream",),
        content="NumPy arrays.",
    ),
    Result(
        "joints.same_serve.npz",
        OperationText(
            "read_second_joints",
            "Fetch the joints of the second film as arrays",
            "Fetch the landmarks of every frame of the second film, on its own clock (where "
            "`same_serve` named one), as compact NumPy arrays.",
        ),
        media=("application/octet-stream",),
        content="NumPy arrays.",
    ),
    Result(
        "events",
        OperationText(
            "read_events", "Fetch the events", "Fetch when things happen in each repetition."
        ),
        model=Events,
        schema="events.v1.json",
    ),
    Result(
        "metrics",
        OperationText(
            "read_metrics",
            "Fetch the metrics",
            "Fetch the measured values of each repetition, with interval, unit and measurability. "
            "Analyses made before version 2 of this document keep `metrics.v1.json`: reasons and "
            "cautions are bare sentences there.",
        ),
        model=Metrics,
        schema="metrics.v1.json",  # of files stored without saying
    ),
    Result(
        "pictures/{name}",
        OperationText(
            "read_picture",
            "Fetch a picture",
            "Fetch a picture of an event with the skeleton and the measured numbers drawn on it.",
        ),
        media=("image/png", "image/jpeg"),
        content="The picture.",
    ),
    Result(
        "report.html",
        OperationText(
            "read_report",
            "Fetch the report",
            "Fetch the report for the player: one page with all pictures, complete without any "
            "host.",
        ),
        media=("text/html",),
        content="One self-contained page.",
    ),
    Result(
        "film.mp4",
        OperationText(
            "read_annotated_film",
            "Fetch the annotated film",
            "Fetch the film with the marks drawn in (where the option `annotated_film` asked for "
            "it).",
        ),
        media=("video/mp4",),
        content="The film.",
    ),
)

router = work_router(
    Offer(
        kind=WorkKind.ANALYSIS,
        parameter="analysis_id",
        body=AnalysisRequest,
        enter=_enter,
        resource=analysis_resource,
        resource_model=AnalysisResource,
        page_model=AnalysisPage,
        start=OperationText(
            "start_analysis",
            "Start an analysis",
            "Start the analysis of a clip, or of two clips that show one serve from two places "
            "(`same_serve`). Follow it under its address or by webhook.",
        ),
        listing=OperationText(
            "list_analyses", "List analyses, newest first", "List analyses, newest first."
        ),
        read=OperationText(
            "read_analysis",
            "Read where an analysis stands",
            "Read status, stage, progress (0 to 1) and, at the end, the links to the results.",
        ),
        cancel=OperationText(
            "cancel_analysis",
            "Cancel an analysis",
            "Cancel work that has not ended. A running worker stops within seconds; nothing is "
            "kept.",
        ),
        erase=OperationText(
            "erase_analysis",
            "Erase an analysis and what was made from it",
            "Erase the results, pictures and events of an analysis, and every document made from "
            "it. The film stays. Running work is stopped.",
        ),
        results=RESULTS,
    ),
    "analyses",
)


@router.put(
    "/{analysis_id}/role",
    operation_id="mark_analysis",
    summary="Mark an analysis as a model serve, or as a player's",
    response_model=AnalysisResource,
)
def mark_analysis(
    request: Request,
    wired: Wired,
    principal: CanAnalyse,
    analysis_id: AnalysisPath,
    change: AnalysisChange,
    _if_match: MayMatch = None,
) -> Response:
    """Say whose serves an analysis shows. A model serve is what players are held against: it can be
    a side of any comparison, and is left out where a player's own films are taken.
    """
    row = wired.work.get(principal, analysis_id, WorkKind.ANALYSIS)
    heed_match(request, analysis_resource(row, ()))
    row = mark(wired.database, principal, analysis_id, change.role)
    return represent(request, analysis_resource(row, ()))


@router.post(
    "/{analysis_id}/again",
    operation_id="analyse_again",
    summary="Analyse again from the stored joints",
    status_code=201,
    response_model=AnalysisResource,
)
def analyse_again(
    request: Request,
    wired: Wired,
    principal: CanAnalyse,
    analysis_id: AnalysisPath,
    key: IdempotencyKey,
    asked: AgainRequest | None = None,
) -> Response:
    """Start another analysis of the same clip from the joints of this completed one: for when only
    the engine, the practice rules or the coach's own lines changed. Pictures are drawn anew from
    the film where `pictures` asks for them, and there is no annotated film; start a new analysis of
    the clip for that.
    """
    asked = asked or AgainRequest()
    plain = asked == AgainRequest()
    return started(
        request,
        wired,
        principal,
        key,
        route=f"POST /v1/analyses/{analysis_id}/again",
        body=None if plain else asked.model_dump(mode="json"),
        effect=lambda session: (
            wired.requests.analysis_again(session, principal, analysis_id, asked).id
        ),
        resource=analysis_resource,
    )
