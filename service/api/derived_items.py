"""What all kinds of derived documents have in common: their resource and the routes below it."""
# No postponed annotations here: the routes are made in a function, and the framework could not
# resolve names that exist only inside it.

import logging
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Path, Request, Response
from pydantic import BaseModel

from models.contract.coaching import DerivedPage, DerivedResource, PlayerId
from models.contract.errors import QueueUnavailable
from models.contract.problem import Problem
from models.contract.vocabulary import AnalysisStatus, WorkKind
from service.api.dependencies import (
    CanAnalyse,
    CanEraseClips,
    CanReadResults,
    PageRequest,
    Wired,
    represent,
)
from service.api.results import send_result
from service.core.access import Principal
from service.core.documents import document_address
from service.core.idempotency import Reply
from service.core.keyset import page
from service.core.kinds import KINDS
from service.core.tables import DerivedDocument
from service.core.wiring import Wiring

logger = logging.getLogger(__name__)

PICTURES = "pictures/"
PicturePath = Annotated[str, Path(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,99}$")]


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of document in the API.

    Attributes
    ----------
    noun : str
        As in operation ids: ``comparison``.
    title : str
        As in summaries.
    result : type
        The document.
    schema : str
        Name of its JSON Schema.
    of_player : bool
        Whether the address begins with the player.
    report, film : bool
        Whether there may be such a result.
    """

    kind: WorkKind
    noun: str
    title: str
    result: type[BaseModel]
    schema: str
    of_player: bool
    report: bool = True
    film: bool = False


def derived_resource(row: DerivedDocument, analyses: tuple[str, ...]) -> DerivedResource:
    """Return a document row as a resource."""
    here = document_address(row)
    links = {"self": here}
    if row.player_id is not None:
        links["player"] = f"/v1/players/{row.player_id}"
    if row.status in (AnalysisStatus.QUEUED, AnalysisStatus.RUNNING):
        links["cancel"] = f"{here}/cancel"
    links |= {name: f"{here}/{name}" for name in row.artifacts if not name.startswith(PICTURES)}
    return DerivedResource(
        id=row.id,
        kind=WorkKind(row.kind),
        player_id=row.player_id,
        analyses=analyses,
        status=AnalysisStatus(row.status),
        progress=row.progress,
        attempt=row.attempt,
        created_at=row.created_at,
        started_at=row.started_at,
        finished_at=row.finished_at,
        external_ref=row.external_ref,
        headline=row.headline,
        problem=Problem.model_validate(row.problem) if row.problem else None,
        pictures=tuple(f"{here}/{name}" for name in row.artifacts if name.startswith(PICTURES)),
        links=links,
    )


def resource_of(wired: Wiring, row: DerivedDocument) -> DerivedResource:
    """Return one row as a resource, with what it is made from."""
    return derived_resource(row, wired.documents.inputs([row.id])[row.id])


def accepted(request: Request, wired: Wiring, principal: Principal, reply: Reply) -> Response:
    """Send new work to the queue and return its resource."""
    row = wired.documents.get(principal, reply.resource_id)
    if not reply.replayed:
        try:
            wired.queue.enqueue(row.id, row.attempt)
        except QueueUnavailable:  # accepted all the same: the reconciler sends it
            logger.warning("queue unavailable; %s waits for the reconciler", row.id)
    resource = resource_of(wired, row)
    headers = {"location": resource.links["self"]}
    if reply.replayed:
        headers["idempotency-replayed"] = "true"
    return represent(request, resource, 201, headers)


def listed(
    request: Request,
    response: Response,
    wired: Wiring,
    principal: Principal,
    paging: PageRequest,
    kind: WorkKind,
    status: AnalysisStatus | None,
    player_id: str | None = None,
) -> DerivedPage:
    """Return one page of the documents of a kind."""
    in_query = {"status": status.value if status else None}
    filters = {"kind": kind.value, "player_id": player_id, **in_query}
    found = page(
        wired.database,
        DerivedDocument,
        principal,
        after=paging.after("documents", filters),
        limit=paging.limit,
        filters=filters,
    )
    cursor = paging.finish(
        response, request.url.path, "documents", filters, found.next, in_query=in_query
    )
    analyses = wired.documents.inputs([row.id for row in found.rows])
    items = tuple(derived_resource(row, analyses[row.id]) for row in found.rows)
    return DerivedPage(items=items, next_cursor=cursor)


def item_routes(router: APIRouter, spec: Kind) -> None:
    """Add the routes below one document: read, cancel, erase, and each of its results."""
    prefix = KINDS[spec.kind].prefix
    document_path = Annotated[
        str,
        Path(
            pattern=rf"^{prefix}_[0-9a-f]{{32}}$",
            examples=[f"{prefix}_0198f0a1b2c37d4e8f90a1b2c3d4e5f6"],
        ),
    ]

    def of_player(player_id: Annotated[PlayerId, Path()], document_id: document_path) -> Any:
        return document_id, player_id

    def of_any(document_id: document_path) -> Any:
        return document_id, None

    address = Annotated[Any, Depends(of_player if spec.of_player else of_any)]

    def row_of(wired: Wiring, principal: Principal, named: Any) -> DerivedDocument:
        document_id, player_id = named
        return wired.documents.find(principal, spec.kind, document_id, player_id)

    def read(
        request: Request,
        wired: Wired,
        principal: CanReadResults,
        named: address,
    ) -> Response:
        """Read where the work stands and, at the end, the links to the results."""
        return represent(request, resource_of(wired, row_of(wired, principal, named)))

    def cancel(
        request: Request,
        wired: Wired,
        principal: CanAnalyse,
        named: address,
    ) -> Response:
        """Cancel work that has not ended; nothing is kept."""
        row = wired.documents.cancel(principal, row_of(wired, principal, named).id)
        try:
            wired.queue.remove(row.id, row.attempt)
        except QueueUnavailable:  # the job finds the work cancelled
            logger.warning("queue unavailable; cancelled %s stays listed there", row.id)
        return represent(request, resource_of(wired, row))

    def erase(wired: Wired, principal: CanEraseClips, named: address) -> Response:
        """Erase the document with its files and events. What it was made from stays."""
        whole = wired.eraser.document(principal, row_of(wired, principal, named).id)
        return Response(status_code=204 if whole else 202)

    def sender(name: str, text: str) -> Callable[..., Response]:
        def send(
            request: Request,
            wired: Wired,
            principal: CanReadResults,
            named: address,
        ) -> Response:
            row = row_of(wired, principal, named)
            return send_result(request, wired, row, name, {"result": spec.schema})

        send.__doc__ = text
        return send

    def picture(
        request: Request,
        wired: Wired,
        principal: CanReadResults,
        named: address,
        name: PicturePath,
    ) -> Response:
        """Fetch a picture of one event on both sides, at the same body size."""
        return send_result(request, wired, row_of(wired, principal, named), PICTURES + name, {})

    here = "/{document_id}"
    noun, title = spec.noun, spec.title

    def get(
        path: str, handler: Callable[..., Response], operation: str, summary: str, **more: Any
    ) -> None:
        router.get(path, operation_id=operation, summary=summary, **more)(handler)
        router.head(path, include_in_schema=False)(handler)

    get(here, read, f"read_{noun}", f"Read {title}", response_model=DerivedResource)
    router.post(
        f"{here}/cancel",
        operation_id=f"cancel_{noun}",
        summary=f"Cancel {title}",
        response_model=DerivedResource,
    )(cancel)
    router.delete(
        here,
        operation_id=f"erase_{noun}",
        summary=f"Erase {title}",
        status_code=204,
        responses={202: {"description": "Erased; files are removed as soon as the store is back."}},
    )(erase)
    get(
        f"{here}/result",
        sender("result", "Fetch the whole document."),
        f"read_{noun}_result",
        f"Fetch the document of {title}",
        response_model=spec.result,
    )
    files: Sequence[tuple[bool, str, str, str, str]] = (
        (spec.report, "report.html", "report", "text/html", "One self-contained page."),
        (spec.film, "film.mp4", "film", "video/mp4", "H.264, side by side, event by event."),
    )
    for there, name, word, media_type, text in files:
        if there:
            get(
                f"{here}/{name}",
                sender(name, f"Fetch the {word}."),
                f"read_{noun}_{word}",
                f"Fetch the {word} of {title}",
                response_class=Response,
                responses={200: {"content": {media_type: {}}, "description": text}},
            )
    if spec.film:
        get(
            f"{here}/pictures/{{name}}",
            picture,
            f"read_{noun}_picture",
            f"Fetch a picture of {title}",
            response_class=Response,
            responses={200: {"content": {"image/jpeg": {}}, "description": "The picture."}},
        )
