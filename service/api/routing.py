"""What routes of all resources have in common: HEAD wherever there is GET, and creating once."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

from fastapi import APIRouter, Request, Response
from pydantic import BaseModel
from sqlalchemy.orm import Session

from service.api.dependencies import represent
from service.core.idempotency import Created, Reply
from service.core.principal import Principal
from service.core.reach import Reach
from service.core.wiring import Wiring

Handler = TypeVar("Handler", bound=Callable[..., Any])


def get_and_head(router: APIRouter, path: str, **documented: Any) -> Callable[[Handler], Handler]:
    """Return a decorator that makes a handler answer GET and HEAD (RFC 9110 9.3.2)."""

    def add(handler: Handler) -> Handler:
        router.get(path, **documented)(handler)
        router.head(path, include_in_schema=False)(handler)
        return handler

    return add


def create_once(
    request: Request,
    wired: Wiring,
    principal: Principal,
    key: str | None,
    *,
    route: str,
    body: Any,
    effect: Callable[[Session], Created | str],
    show: Callable[[Reply], BaseModel],
    location: Callable[[Any], str | None] = lambda shown: shown.links["self"],
    reach: Reach | None = None,
) -> Response:
    """Make something once an Idempotency-Key, say where it is, and show it.

    Parameters
    ----------
    route : str
        Method and path, which the key is bound to.
    body : JSON-like
        What a repeat must send again.
    effect : callable
        Makes it in the session it is given; returns its id.
    show : callable
        Returns what to answer, for what was made now or before.
    location : callable
        Returns its path; None where nothing new has an address.
    reach : Reach or None
        What the effect may write; None = what the caller may.
    """
    reply = wired.idempotency.once(principal, route, key, body, effect, reach)
    shown = show(reply)
    headers = {}
    if (address := location(shown)) is not None:
        headers["location"] = address
    if reply.replayed:
        headers["idempotency-replayed"] = "true"
    return represent(request, shown, reply.status, headers)
