"""Derived documents: comparisons, progress, practice plans, drill checks."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Query, Request, Response
from sqlalchemy.orm import Session

from models.contract.coaching import (
    ComparisonRequest,
    DerivedPage,
    DerivedResource,
    DrillCheckRequest,
    PlanRequest,
    PlayerId,
    ProgressRequest,
)
from models.contract.comparison import Comparison
from models.contract.plan import DrillOutcome, PracticePlan
from models.contract.progress import Progress
from models.contract.vocabulary import AnalysisStatus, WorkKind
from service.api.dependencies import (
    CanAnalyse,
    CanReadResults,
    IdempotencyKey,
    Paging,
    Wired,
)
from service.api.derived_items import Kind, accepted, item_routes, listed

comparisons = APIRouter(prefix="/v1/comparisons", tags=["coaching"])
progress = APIRouter(prefix="/v1/players/{player_id}/progress", tags=["coaching"])
plans = APIRouter(prefix="/v1/players/{player_id}/plans", tags=["coaching"])
drill_checks = APIRouter(prefix="/v1/drill-checks", tags=["coaching"])

PlayerPath = Annotated[PlayerId, Path(examples=["ply_0198f0a1b2c37d4e8f90a1b2c3d4e5f6"])]
StatusQuery = Annotated[AnalysisStatus | None, Query()]


@comparisons.post(
    "",
    operation_id="start_comparison",
    summary="Compare two sides",
    status_code=201,
    response_model=DerivedResource,
)
def start_comparison(
    request: Request,
    wired: Wired,
    principal: CanAnalyse,
    body: ComparisonRequest,
    key: IdempotencyKey,
) -> Response:
    """Compare two groups of repetitions: before and after, player and model, practice and match.

    Per metric both means, the difference with its interval, typical error, least change that is
    not noise, least true change that would have been seen (`detectable`), and a verdict: `changed`,
    `within_noise` or `not_comparable` with the reason.
    """

    def effect(session: Session) -> str:
        return wired.requests.comparison(session, principal, body).id

    reply = wired.idempotency.once(
        principal, "POST /v1/comparisons", key, body.model_dump(mode="json"), effect
    )
    return accepted(request, wired, principal, reply)


@comparisons.get(
    "",
    operation_id="list_comparisons",
    summary="List comparisons, newest first",
    response_model=DerivedPage,
)
def list_comparisons(
    request: Request,
    response: Response,
    wired: Wired,
    principal: CanReadResults,
    paging: Paging,
    status: StatusQuery = None,
) -> DerivedPage:
    """List comparisons, newest first."""
    return listed(request, response, wired, principal, paging, WorkKind.COMPARISON, status)


@progress.post(
    "",
    operation_id="start_progress",
    summary="Work out a player's progress",
    status_code=201,
    response_model=DerivedResource,
)
def start_progress(
    request: Request,
    wired: Wired,
    principal: CanAnalyse,
    player_id: PlayerPath,
    body: ProgressRequest,
    key: IdempotencyKey,
) -> Response:
    """Work out gain, retention and transfer over all sessions that hold a completed analysis, and
    when to film the next retention check.
    """

    def effect(session: Session) -> str:
        return wired.requests.progress(session, principal, player_id, body).id

    reply = wired.idempotency.once(
        principal,
        f"POST /v1/players/{player_id}/progress",
        key,
        body.model_dump(mode="json"),
        effect,
    )
    return accepted(request, wired, principal, reply)


@progress.get(
    "",
    operation_id="list_progress",
    summary="List a player's progress documents",
    response_model=DerivedPage,
)
def list_progress(
    request: Request,
    response: Response,
    wired: Wired,
    principal: CanReadResults,
    paging: Paging,
    player_id: PlayerPath,
    status: StatusQuery = None,
) -> DerivedPage:
    """List the progress documents of a player, newest first."""
    wired.players.get(principal, player_id)
    kind = WorkKind.PROGRESS
    return listed(request, response, wired, principal, paging, kind, status, player_id)


@plans.post(
    "",
    operation_id="start_plan",
    summary="Make a practice plan",
    status_code=201,
    response_model=DerivedResource,
)
def start_plan(
    request: Request,
    wired: Wired,
    principal: CanAnalyse,
    player_id: PlayerPath,
    body: PlanRequest,
    key: IdempotencyKey,
) -> Response:
    """Make a plan by the shipped rules or a coach's own: one focus at a time, ordered by effect
    and certainty, with a progression of drills and measured criteria to move on.
    """

    def effect(session: Session) -> str:
        return wired.requests.plan(session, principal, player_id, body).id

    reply = wired.idempotency.once(
        principal,
        f"POST /v1/players/{player_id}/plans",
        key,
        body.model_dump(mode="json"),
        effect,
    )
    return accepted(request, wired, principal, reply)


@plans.get(
    "",
    operation_id="list_plans",
    summary="List a player's plans",
    response_model=DerivedPage,
)
def list_plans(
    request: Request,
    response: Response,
    wired: Wired,
    principal: CanReadResults,
    paging: Paging,
    player_id: PlayerPath,
    status: StatusQuery = None,
) -> DerivedPage:
    """List the practice plans of a player, newest first."""
    wired.players.get(principal, player_id)
    kind = WorkKind.PLAN
    return listed(request, response, wired, principal, paging, kind, status, player_id)


@drill_checks.post(
    "",
    operation_id="start_drill_check",
    summary="Judge the clips of a drill",
    status_code=201,
    response_model=DerivedResource,
)
def start_drill_check(
    request: Request,
    wired: Wired,
    principal: CanAnalyse,
    body: DrillCheckRequest,
    key: IdempotencyKey,
) -> Response:
    """Judge the clips of a drill by its exit criteria: advance, repeat, go back or film again."""

    def effect(session: Session) -> str:
        return wired.requests.drill_check(session, principal, body).id

    reply = wired.idempotency.once(
        principal, "POST /v1/drill-checks", key, body.model_dump(mode="json"), effect
    )
    return accepted(request, wired, principal, reply)


@drill_checks.get(
    "",
    operation_id="list_drill_checks",
    summary="List drill checks, newest first",
    response_model=DerivedPage,
)
def list_drill_checks(
    request: Request,
    response: Response,
    wired: Wired,
    principal: CanReadResults,
    paging: Paging,
    status: StatusQuery = None,
) -> DerivedPage:
    """List drill checks, newest first."""
    return listed(request, response, wired, principal, paging, WorkKind.DRILL_CHECK, status)


item_routes(
    comparisons,
    Kind(
        WorkKind.COMPARISON,
        "comparison",
        "a comparison",
        Comparison,
        "comparison.v1.json",
        of_player=False,
        film=True,
    ),
)
item_routes(
    progress,
    Kind(
        WorkKind.PROGRESS,
        "progress",
        "a player's progress",
        Progress,
        "progress.v1.json",
        of_player=True,
    ),
)
item_routes(
    plans,
    Kind(
        WorkKind.PLAN,
        "plan",
        "a practice plan",
        PracticePlan,
        "practice-plan.v1.json",
        of_player=True,
    ),
)
item_routes(
    drill_checks,
    Kind(
        WorkKind.DRILL_CHECK,
        "drill_check",
        "a drill check",
        DrillOutcome,
        "drill-outcome.v1.json",
        of_player=False,
        report=False,
    ),
)
