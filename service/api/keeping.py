"""Until when a film, its joints and its reports are kept."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Request, Response

from models.contract.keeping import KeptId, KeptResource
from service.api.dependencies import CanReadClips, Wired, represent
from service.api.routing import get_and_head
from service.core.tables import Clip

router = APIRouter(prefix="/v1/keeping", tags=["erasures"])
KeptPath = Annotated[
    KeptId,
    Path(
        description="Id of a clip, an analysis or a document.",
        examples=["clip_0198f0a1b2c37d4e8f90a1b2c3d4e5f6"],
    ),
]


@get_and_head(
    router,
    "/{kept_id}",
    operation_id="read_keeping",
    summary="Read until when something is kept",
    response_model=KeptResource,
)
def read_keeping(
    request: Request, wired: Wired, _principal: CanReadClips, kept_id: KeptPath
) -> Response:
    """Read until when a film (or file of joints) is kept, or joints and reports of an analysis or
    document, by which rule, and what was removed. Later consents and rules change it.
    """
    found = wired.keeping.kept(kept_id)
    row = found.row
    removed = {}
    if isinstance(row, Clip):
        removed["film_removed_at"] = row.film_removed_at
    else:
        removed["joints_removed_at"] = row.joints_removed_at
        removed["reports_removed_at"] = row.reports_removed_at
    film = found.film
    return represent(
        request,
        KeptResource(
            of=kept_id,
            film_until=film.moment,
            film_because=None if film.moment is None else film.ground,
            joints_until=found.joints.moment,
            reports_until=found.reports.moment,
            **removed,
        ),
    )
