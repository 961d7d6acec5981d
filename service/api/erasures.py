"""Erasures: their answer, their state, the list of receipts."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Request, Response
from starlette.background import BackgroundTask

from models.contract.erasures import ErasureId, ErasurePage, ErasureResource
from service.api.dependencies import CanEraseClips, Paging, Wired, represent
from service.api.listing import listed
from service.api.routing import get_and_head
from service.core.erasure import RowsErased
from service.core.tables import ErasureReceipt
from service.core.wiring import Wiring

router = APIRouter(prefix="/v1/erasures", tags=["erasures"])

ErasurePath = Annotated[ErasureId, Path(examples=["era_0198f0a1b2c37d4e8f90a1b2c3d4e5f6"])]


def erasure_resource(row: ErasureReceipt) -> ErasureResource:
    """Return a receipt as a resource."""
    return ErasureResource(
        id=row.id,
        state="completed" if row.completed_at else "under_way",
        of=row.subject_id,
        requested_at=row.created_at,
        clips=row.clips,
        work=row.work,
        files=row.files,
        rows_erased_at=row.created_at,
        files_erased_at=row.files_erased_at,
        database_cleaned_at=row.database_cleaned_at,
        completed_at=row.completed_at,
        links={"self": f"/v1/erasures/{row.id}"},
    )


def erased(request: Request, wired: Wiring, gone: RowsErased) -> Response:
    """Answer an erasure: its rows are gone, its files go once the answer is sent."""
    shown = erasure_resource(gone.receipt)
    answer = represent(request, shown, 202, {"location": shown.links["self"]})
    answer.background = BackgroundTask(wired.eraser.carry_out, gone)
    return answer


@get_and_head(
    router,
    "",
    operation_id="list_erasures",
    summary="List erasures, newest first",
    response_model=ErasurePage,
)
def list_erasures(
    request: Request, response: Response, wired: Wired, principal: CanEraseClips, paging: Paging
) -> ErasurePage:
    """List erasures, newest first. They are kept for a year as receipts."""
    rows, cursor = listed(request, response, wired, principal, paging, ErasureReceipt, "erasures")
    return ErasurePage(items=tuple(map(erasure_resource, rows)), next_cursor=cursor)


@get_and_head(
    router,
    "/{erasure_id}",
    operation_id="read_erasure",
    summary="Read how far an erasure is",
    response_model=ErasureResource,
)
def read_erasure(
    request: Request, wired: Wired, principal: CanEraseClips, erasure_id: ErasurePath
) -> Response:
    """Read how far an erasure is; once completed, this is its receipt."""
    return represent(request, erasure_resource(wired.receipts.get(principal, erasure_id)))
