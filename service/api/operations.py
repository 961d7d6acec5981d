"""For those who run the installation: its state, and work of all organisations."""

from __future__ import annotations

import logging
from dataclasses import asdict
from typing import Annotated

from fastapi import APIRouter, Path, Query, Request, Response

from models.contract.errors import QueueUnavailable
from models.contract.operations import (
    InstallationState,
    OperatedWork,
    OperatedWorkPage,
    QueueState,
    WorkerInfo,
)
from models.contract.vocabulary import AnalysisStatus, Stage, WorkKind
from service.api.dependencies import CanAdminister, Paging, Wired, represent
from service.api.routing import get_and_head
from service.core.identifiers import PATTERN
from service.core.organisations import require_operator
from service.core.tables import Work

logger = logging.getLogger(__name__)
router = APIRouter(prefix="/v1/operations", tags=["operations"])

WorkPath = Annotated[str, Path(pattern=PATTERN, examples=["ana_0198f0a1b2c37d4e8f90a1b2c3d4e5f6"])]
StatusQuery = Annotated[AnalysisStatus | None, Query()]
KindQuery = Annotated[WorkKind | None, Query()]


def operated(row: Work) -> OperatedWork:
    """Return work as operators see it: ids, states and times."""
    here = f"/v1/operations/work/{row.id}"
    links = {"self": here}
    if row.status in (AnalysisStatus.QUEUED, AnalysisStatus.RUNNING):
        links["cancel"] = f"{here}/cancel"
    if row.status == AnalysisStatus.FAILED:
        links["try_again"] = f"{here}/try-again"
    return OperatedWork(
        id=row.id,
        organisation_id=row.tenant_id,
        kind=WorkKind(row.kind),
        status=AnalysisStatus(row.status),
        stage=Stage(row.stage) if row.stage else None,
        attempt=row.attempt,
        crashes=row.crashes,
        created_at=row.created_at,
        queued_at=row.queued_at,
        started_at=row.started_at,
        finished_at=row.finished_at,
        lease_until=row.lease_until,
        lease_holder=row.lease_holder,
        problem_code=(row.problem or {}).get("code"),
        links=links,
    )


@get_and_head(
    router,
    "/state",
    operation_id="read_installation_state",
    summary="Read queues, workers and what waits",
    response_model=InstallationState,
)
def read_state(request: Request, wired: Wired, principal: CanAdminister) -> Response:
    """Read queues, workers and what waits. Needs an admin key of the first organisation."""
    require_operator(principal)
    overview = wired.overview
    workers = None
    try:
        workers = tuple(WorkerInfo.model_validate(asdict(one)) for one in overview.workers())
    except QueueUnavailable:
        logger.warning("queue unavailable; the workers are not known")
    webhooks = overview.webhooks()
    shown = InstallationState(
        queues=tuple(QueueState.model_validate(asdict(one)) for one in overview.lanes()),
        workers=workers,
        webhooks_pending=webhooks.pending,
        webhook_lag_s=webhooks.lag_s,
        endpoints_disabled=webhooks.disabled,
        erasures_under_way=overview.erasures(),
    )
    return represent(request, shown)


@get_and_head(
    router,
    "/work",
    operation_id="list_all_work",
    summary="List work of all organisations, newest first",
    response_model=OperatedWorkPage,
)
def list_work(
    request: Request,
    response: Response,
    wired: Wired,
    principal: CanAdminister,
    paging: Paging,
    status: StatusQuery = None,
    kind: KindQuery = None,
) -> OperatedWorkPage:
    """List work of all organisations, newest first, without what it is about."""
    require_operator(principal)
    bound = {"status": status.value if status else None, "kind": kind.value if kind else None}
    found = wired.operations.page(paging.after("all-work", bound), paging.limit, status, kind)
    cursor = paging.finish(response, request.url.path, "all-work", bound, found.next)
    return OperatedWorkPage(items=tuple(map(operated, found.rows)), next_cursor=cursor)


@get_and_head(
    router,
    "/work/{work_id}",
    operation_id="read_any_work",
    summary="Read the state of some work",
    response_model=OperatedWork,
)
def read_work(
    request: Request, wired: Wired, principal: CanAdminister, work_id: WorkPath
) -> Response:
    """Read the state of some work of any organisation."""
    require_operator(principal)
    return represent(request, operated(wired.operations.get(work_id)))


@router.post(
    "/work/{work_id}/cancel",
    operation_id="cancel_any_work",
    summary="Cancel some work",
    response_model=OperatedWork,
)
def cancel_work(
    request: Request, wired: Wired, principal: CanAdminister, work_id: WorkPath
) -> Response:
    """Cancel work of any organisation. Running work stops within a heartbeat."""
    require_operator(principal)
    row = wired.operations.cancel(work_id)
    try:
        wired.queue.remove(row.id, row.attempt)
    except QueueUnavailable:  # the job finds the work cancelled
        logger.warning("queue unavailable; cancelled %s stays listed there", row.id)
    return represent(request, operated(row))


@router.post(
    "/work/{work_id}/try-again",
    operation_id="try_any_work_again",
    summary="Try failed work again",
    response_model=OperatedWork,
)
def try_again(
    request: Request, wired: Wired, principal: CanAdminister, work_id: WorkPath
) -> Response:
    """Put work back that failed by the installation's fault (its problem has status 500 or more).

    What failed by its film's fault is refused (409): sending the same film again changes nothing.
    """
    require_operator(principal)
    row = wired.operations.try_again(work_id)
    try:
        wired.queue.enqueue(row.id, row.attempt)
    except QueueUnavailable:  # the reconciler sends it
        logger.warning("queue unavailable; %s is sent later", row.id)
    return represent(request, operated(row))
