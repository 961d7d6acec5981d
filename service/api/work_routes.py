"""The routes of queued work, the same for every kind: start, list, read, cancel, erase, results."""
# No postponed annotations here: the routes are made in a function, and the framework could not
# resolve names that exist only inside it.

import logging
from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Path, Request, Response
from pydantic import BaseModel
from sqlalchemy.orm import Session

from models.contract.erasures import ErasureResource
from models.contract.errors import QueueUnavailable
from models.contract.vocabulary import WorkKind
from service.api.dependencies import (
    CanAnalyse,
    CanEraseClips,
    CanReadResults,
    IdempotencyKey,
    MayMatch,
    Paging,
    Wired,
    heed_match,
    represent,
)
from service.api.erasures import erased
from service.api.results import send_result
from service.api.routing import create_once, get_and_head
from service.api.work_filters import (
    PlayerPath,
    Wanted,
    analyses_wanted,
    documents_of_player,
    documents_wanted,
)
from service.api.work_resources import PICTURES
from service.core.idempotency import Reply
from service.core.kinds import KINDS
from service.core.principal import Principal
from service.core.tables import Work
from service.core.wiring import Wiring
from service.core.work_lists import work_page

logger = logging.getLogger(__name__)

PicturePath = Annotated[str, Path(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,99}$")]
Shape = Callable[[Work, tuple[str, ...]], BaseModel]
"""Returns a row, with the ids of what it is made from, as a resource."""


@dataclass(frozen=True, slots=True)
class OperationText:
    """How an operation is documented."""

    operation: str
    summary: str
    description: str


@dataclass(frozen=True, slots=True)
class Result:
    """A result file of a kind of work.

    Attributes
    ----------
    name : str
        Below the work's address: ``joints.npz``; ``pictures/{name}`` for all pictures.
    model : type or None
        The document, where it is one of our contract.
    schema : str or None
        Name of its JSON Schema.
    media : tuple of str
        Media types, where it is no document.
    content : str
        What it is, in a few words.
    """

    name: str
    words: OperationText
    model: type[BaseModel] | None = None
    schema: str | None = None
    media: tuple[str, ...] = ()
    content: str = ""


@dataclass(frozen=True, slots=True)
class Offer:
    """One kind of work in the API.

    Attributes
    ----------
    parameter : str
        Name of the path parameter: ``analysis_id``.
    body : type
        What starting it takes.
    enter : callable
        Enters it in the caller's transaction: wiring, session, caller, body, player of the path.
    """

    kind: WorkKind
    parameter: str
    body: type[BaseModel]
    enter: Callable[[Wiring, Session, Principal, Any, str | None], Work]
    resource: Shape
    resource_model: type[BaseModel]
    page_model: type[BaseModel]
    start: OperationText
    listing: OperationText
    read: OperationText
    cancel: OperationText
    erase: OperationText
    results: tuple[Result, ...]


def _of_player(player_id: PlayerPath) -> Any:
    return player_id


def _of_nobody() -> Any:
    return None


def _filters(kind: WorkKind) -> Callable[..., Wanted]:
    if kind is WorkKind.ANALYSIS:
        return analyses_wanted
    return documents_of_player(kind) if KINDS[kind].of_player else documents_wanted(kind)


def work_router(offer: Offer, tag: str) -> APIRouter:
    """Return the routes of a kind of work."""
    kind = KINDS[offer.kind]
    router = APIRouter(prefix=kind.collection, tags=[tag])
    work_path = Annotated[
        str,
        Path(
            alias=offer.parameter,
            pattern=rf"^{kind.prefix}_[0-9a-f]{{32}}$",
            examples=[f"{kind.prefix}_0198f0a1b2c37d4e8f90a1b2c3d4e5f6"],
        ),
    ]
    whose = Annotated[Any, Depends(_of_player if kind.of_player else _of_nobody)]
    wanted_list = Annotated[Wanted, Depends(_filters(offer.kind))]

    def named(work_id: work_path, player_id: whose) -> Any:
        return work_id, player_id

    address = Annotated[Any, Depends(named)]

    def row_of(wired: Wiring, principal: Principal, name: Any) -> Work:
        work_id, player_id = name
        return wired.work.get(principal, work_id, offer.kind, player_id)

    def shown(wired: Wiring, row: Work) -> BaseModel:
        return _shown(wired, row, offer.resource)

    def start(
        request: Request,
        wired: Wired,
        principal: CanAnalyse,
        player_id: whose,
        body: BaseModel,
        key: IdempotencyKey,
    ) -> Response:
        return started(
            request,
            wired,
            principal,
            key,
            route=f"POST {kind.list_path(player_id)}",
            body=body.model_dump(mode="json"),
            effect=lambda session: offer.enter(wired, session, principal, body, player_id).id,
            resource=offer.resource,
        )

    start.__annotations__["body"] = offer.body

    def listed(
        request: Request,
        response: Response,
        wired: Wired,
        principal: CanReadResults,
        paging: Paging,
        wanted: wanted_list,
    ) -> Any:
        if kind.of_player:
            assert wanted.filter.player_id is not None
            wired.players.get(principal, wanted.filter.player_id)
        after = paging.after(kind.folder, wanted.bound)
        found = work_page(wired.database, principal, wanted.filter, after=after, limit=paging.limit)
        cursor = paging.finish(
            response,
            request.url.path,
            kind.folder,
            wanted.bound,
            found.next,
            in_query=wanted.in_query,
        )
        inputs = wired.work.inputs([row.id for row in found.rows])
        items = tuple(offer.resource(row, inputs[row.id]) for row in found.rows)
        return offer.page_model(items=items, next_cursor=cursor)

    def read(request: Request, wired: Wired, principal: CanReadResults, name: address) -> Response:
        return represent(request, shown(wired, row_of(wired, principal, name)))

    def cancel(request: Request, wired: Wired, principal: CanAnalyse, name: address) -> Response:
        row = wired.work.cancel(principal, row_of(wired, principal, name).id)
        try:
            wired.queue.remove(row.id, row.attempt)
        except QueueUnavailable:  # the job finds the work cancelled
            logger.warning("queue unavailable; cancelled %s stays listed there", row.id)
        return represent(request, shown(wired, row))

    def erase(
        request: Request,
        wired: Wired,
        principal: CanEraseClips,
        name: address,
        _if_match: MayMatch = None,
    ) -> Response:
        row = row_of(wired, principal, name)
        heed_match(request, shown(wired, row))
        return erased(request, wired, wired.eraser.work(principal, row.id))

    item = f"/{{{offer.parameter}}}"
    model: dict[str, Any] = {"response_model": offer.resource_model}
    router.post("", status_code=201, **model, **_documented(offer.start))(start)
    get_and_head(router, "", response_model=offer.page_model, **_documented(offer.listing))(listed)
    get_and_head(router, item, **model, **_documented(offer.read))(read)
    router.post(f"{item}/cancel", **model, **_documented(offer.cancel))(cancel)
    router.delete(
        item, status_code=202, response_model=ErasureResource, **_documented(offer.erase)
    )(erase)
    schemas = {one.name: one.schema for one in offer.results if one.schema is not None}

    def sender(stored: str) -> Callable[..., Response]:
        def send_file(
            request: Request, wired: Wired, principal: CanReadResults, name: address
        ) -> Response:
            return send_result(request, wired, row_of(wired, principal, name), stored, schemas)

        return send_file

    def send_picture(
        request: Request,
        wired: Wired,
        principal: CanReadResults,
        named: address,
        name: PicturePath,
    ) -> Response:
        return send_result(request, wired, row_of(wired, principal, named), PICTURES + name, {})

    for one in offer.results:
        handler = send_picture if one.name.startswith(PICTURES) else sender(one.name)
        get_and_head(router, f"{item}/{one.name}", **_content(one), **_documented(one.words))(
            handler
        )
    return router


def started(
    request: Request,
    wired: Wiring,
    principal: Principal,
    key: str | None,
    *,
    route: str,
    body: Any,
    effect: Callable[[Session], str],
    resource: Shape,
) -> Response:
    """Enter work once a key, send it to the queue, and show it."""

    def show(reply: Reply) -> BaseModel:
        row = wired.work.get(principal, reply.resource_id)
        if not reply.replayed:
            _send(wired, row)
        return _shown(wired, row, resource)

    return create_once(
        request, wired, principal, key, route=route, body=body, effect=effect, show=show
    )


def _shown(wired: Wiring, row: Work, resource: Shape) -> BaseModel:
    return resource(row, wired.work.inputs([row.id])[row.id])


def _send(wired: Wiring, row: Work) -> None:
    try:
        wired.queue.enqueue(row.id, row.attempt)
    except QueueUnavailable:  # accepted all the same: the reconciler sends it
        logger.warning("queue unavailable; %s waits for the reconciler", row.id)


def _documented(words: OperationText) -> dict[str, Any]:
    return {
        "operation_id": words.operation,
        "summary": words.summary,
        "description": words.description,
    }


def _content(result: Result) -> dict[str, Any]:
    if result.model is not None:
        return {"response_model": result.model}
    content: dict[str, Any] = {media: {} for media in result.media}
    return {
        "response_class": Response,
        "responses": {200: {"content": content, "description": result.content}},
    }
