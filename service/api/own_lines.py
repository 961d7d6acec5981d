"""A coach's own lines on the pictures of an analysis."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Request, Response

from models.contract.annotations import Annotations
from models.contract.errors import NotFound
from models.contract.resources import AnalysisId
from service.api.dependencies import (
    CanAnalyse,
    CanReadResults,
    MayMatch,
    Wired,
    heed_match,
    represent,
)
from service.api.routing import get_and_head
from service.core.principal import Principal
from service.core.wiring import Wiring

router = APIRouter(prefix="/v1/analyses", tags=["coaching"])

AnalysisPath = Annotated[AnalysisId, Path(examples=["ana_0198f0a1b2c37d4e8f90a1b2c3d4e5f6"])]
HERE = "/{analysis_id}/annotations"


@router.put(
    HERE,
    operation_id="put_annotations",
    summary="Draw your own lines on the pictures of an analysis",
    response_model=Annotations,
)
def put_annotations(
    request: Request,
    wired: Wired,
    principal: CanAnalyse,
    analysis_id: AnalysisPath,
    lines: Annotations,
    _if_match: MayMatch = None,
) -> Response:
    """Keep points, lines, angles and text with an analysis, instead of those there were.

    Coordinates are pixels of the film's upright frame, as those of the landmarks in the joints
    document; a mark names its picture. Plans and comparisons that are made afterwards show them,
    and so does the page of `POST /v1/analyses/{analysis_id}/again` with `pictures`.
    """
    _heed(request, wired, principal, analysis_id)
    wired.own_lines.put(principal, analysis_id, lines)
    return represent(request, lines)


@get_and_head(
    router,
    HERE,
    operation_id="read_annotations",
    summary="Read the own lines of an analysis",
    response_model=Annotations,
)
def read_annotations(
    request: Request, wired: Wired, principal: CanReadResults, analysis_id: AnalysisPath
) -> Response:
    """Read the lines as they are kept; 404 where there are none."""
    return represent(request, wired.own_lines.get(principal, analysis_id))


@router.delete(
    HERE,
    operation_id="delete_annotations",
    summary="Remove the own lines of an analysis",
    status_code=204,
)
def delete_annotations(
    request: Request,
    wired: Wired,
    principal: CanAnalyse,
    analysis_id: AnalysisPath,
    _if_match: MayMatch = None,
) -> Response:
    """Remove the lines. Pages that show them stay as they are."""
    heed_match(request, wired.own_lines.get(principal, analysis_id))
    wired.own_lines.put(principal, analysis_id, None)
    return Response(status_code=204)


def _heed(request: Request, wired: Wiring, principal: Principal, analysis_id: str) -> None:
    if "if-match" in request.headers or "if-none-match" in request.headers:
        try:
            heed_match(request, wired.own_lines.get(principal, analysis_id))
        except NotFound:
            return  # the put says what there is not
