"""What route handlers ask for: the wiring, who asks, keys of idempotency, pages, preconditions."""

from __future__ import annotations

import hashlib
import hmac
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import Depends, Header, Query, Request, Response
from fastapi.openapi.utils import get_openapi
from fastapi.routing import APIRoute
from fastapi.security import HTTPBearer
from pydantic import BaseModel

from models.contract.errors import (
    Forbidden,
    InvalidRequest,
    MalformedRequest,
    PreconditionRequired,
)
from models.contract.note_codes import NoteCode, say
from models.contract.problem import Problem
from models.words import catalogue, negotiate
from service.api.conditional import tag_of
from service.api.paging import decode_cursor, encode_cursor, next_link
from service.api.preconditions import not_modified
from service.core.keyset import Position
from service.core.principal import Principal, Scope
from service.core.wiring import Wiring

MAX_PAGE = 100
"""Most items a page."""
_IDEMPOTENCY_KEY = re.compile(r'^(?:"[\x20\x21\x23-\x5b\x5d-\x7e]{1,255}"|[\x21\x23-\x7e]{1,255})$')
_bearer = HTTPBearer(
    auto_error=False, scheme_name="ApiKey", description="An API key: `Authorization: Bearer sw_…`"
)


def wiring_of(request: Request) -> Wiring:
    """Return the adapters of this process."""
    wired: Wiring = request.app.state.wiring
    return wired


Wired = Annotated[Wiring, Depends(wiring_of)]


def _query_names(route: APIRoute) -> frozenset[str]:
    """Return the query parameters of an operation, as its description lists them."""
    paths = get_openapi(title="", version="", routes=[route])["paths"]
    return frozenset(
        parameter["name"]
        for operations in paths.values()
        for operation in operations.values()
        for parameter in operation.get("parameters", ())
        if parameter["in"] == "query"
    )


def known_query(request: Request) -> None:
    """Refuse query parameters the operation does not have: a misspelt filter must not pass."""
    if not request.query_params:
        return
    route: APIRoute = request.scope["route"]
    described: dict[tuple[str, str], frozenset[str]] = request.app.state.query_names
    key = (request.method, route.path_format)
    if key not in described:
        described[key] = _query_names(route)
    known = described[key]
    if not known.issuperset(request.query_params):
        raise InvalidRequest(say(NoteCode.QUERY_UNKNOWN, known=tuple(sorted(known))))


_scopes: dict[Callable[..., Any], Scope] = {}


def needs(scope: Scope) -> Callable[..., Principal]:
    """Return a dependency that yields the caller when its key holds the scope."""

    def check(request: Request, _documented: Annotated[Any, Depends(_bearer)]) -> Principal:
        principal: Principal = request.state.principal  # set by the Authentication middleware
        if not principal.may(scope):
            raise Forbidden(say(NoteCode.SCOPE_MISSING, scope=scope.value))
        return principal

    check.__doc__ = f"Scope {scope}."
    _scopes[check] = scope
    return check


def scope_of(dependency: Any) -> Scope | None:
    """Return the scope that a dependency made by :func:`needs` asks for; None for others."""
    return _scopes.get(dependency)


CanReadClips = Annotated[Principal, Depends(needs(Scope.CLIPS_READ))]
CanWriteClips = Annotated[Principal, Depends(needs(Scope.CLIPS_WRITE))]
CanEraseClips = Annotated[Principal, Depends(needs(Scope.CLIPS_ERASE))]
CanAnalyse = Annotated[Principal, Depends(needs(Scope.ANALYSES_WRITE))]
CanReadResults = Annotated[Principal, Depends(needs(Scope.RESULTS_READ))]
CanReadPlayers = Annotated[Principal, Depends(needs(Scope.PLAYERS_READ))]
CanWritePlayers = Annotated[Principal, Depends(needs(Scope.PLAYERS_WRITE))]
CanManageRules = Annotated[Principal, Depends(needs(Scope.RULES_MANAGE))]
CanManageIntake = Annotated[Principal, Depends(needs(Scope.INTAKE_MANAGE))]
CanManageShares = Annotated[Principal, Depends(needs(Scope.SHARES_MANAGE))]
CanManageWebhooks = Annotated[Principal, Depends(needs(Scope.WEBHOOKS_MANAGE))]
CanAdminister = Annotated[Principal, Depends(needs(Scope.ADMIN))]


def idempotency_key(
    key: Annotated[
        str | None,
        Header(
            alias="Idempotency-Key",
            description="Your own key for this request, at most 255 printable characters. A "
            "repeat within 24 h gives the same outcome and `Idempotency-Replayed: true`; the same "
            "key with another body is an error.",
            examples=["9f2c4c1e-analysis"],
            json_schema_extra={"pattern": "^[!#-~]{1,255}$"},  # said here, judged below with 400
        ),
    ] = None,
) -> str | None:
    """Return the Idempotency-Key, bare or as a quoted string."""
    if key is None:
        return None
    if not _IDEMPOTENCY_KEY.match(key):
        raise MalformedRequest(say(NoteCode.IDEMPOTENCY_KEY_FORM))
    return key[1:-1] if key.startswith('"') else key


IdempotencyKey = Annotated[str | None, Depends(idempotency_key)]


IfMatch = Annotated[
    str | None,
    Header(
        alias="If-Match",
        description="ETag of the state you read; required (428 without it). `*` = whatever it is.",
    ),
]
MayMatch = Annotated[
    str | None,
    Header(alias="If-Match", description="ETag of the state you read: erase it only as it was."),
]


@dataclass(frozen=True, slots=True)
class PageRequest:
    """Which page is asked for."""

    limit: int
    cursor: str | None
    secret: bytes

    def after(self, scope: str, filters: Mapping[str, Any]) -> Position | None:
        """Return the position the page begins after."""
        if self.cursor is None:
            return None
        return decode_cursor(self.secret, scope, filters, self.cursor)

    def finish(
        self,
        response: Response,
        path: str,
        scope: str,
        filters: Mapping[str, Any],
        following: Position | None,
        in_query: Mapping[str, Any] | None = None,
    ) -> str | None:
        """Set the Link header; return the cursor of the next page.

        Parameters
        ----------
        in_query : mapping or None
            The filters that are query parameters, where some are parts of the path.
        """
        if following is None:
            return None
        cursor = encode_cursor(self.secret, scope, filters, following)
        shown = filters if in_query is None else in_query
        response.headers["link"] = next_link(path, shown, self.limit, cursor)
        return cursor


def page_request(
    request: Request,
    limit: Annotated[int, Query(ge=1, le=MAX_PAGE, description="Items a page.")] = 20,
    cursor: Annotated[
        str | None, Query(max_length=400, description="next_cursor of the page before.")
    ] = None,
) -> PageRequest:
    """Return what page is asked for. A cursor is good for the organisation it was given to."""
    principal: Principal = request.state.principal
    installation: bytes = request.app.state.cursor_secret()
    secret = hmac.digest(installation, principal.tenant_id.encode(), hashlib.sha256)
    return PageRequest(limit, cursor, secret)


Paging = Annotated[PageRequest, Depends(page_request)]


def represent(
    request: Request,
    document: BaseModel,
    status: int = 200,
    headers: Mapping[str, str] | None = None,
) -> Response:
    """Return a JSON document with its entity tag, or 304 when the caller has it already.

    The problem of work that failed is said in the language of Accept-Language.
    """
    body, language = _in_language(request, document)
    sent = {"etag": tag_of(body), "cache-control": "private, no-cache", **language}
    sent |= headers or {}
    if request.method in ("GET", "HEAD") and not_modified(request, sent["etag"]):
        return Response(status_code=304, headers=sent)
    return Response(body, status_code=status, headers=sent, media_type="application/json")


def _in_language(request: Request, document: BaseModel) -> tuple[bytes, dict[str, str]]:
    """Return a document as it is sent, with the fields that say in which language."""
    problem = getattr(document, "problem", None)
    headers: dict[str, str] = {}
    if isinstance(problem, Problem):
        words = catalogue(negotiate(request.headers.get("accept-language")))
        document = document.model_copy(update={"problem": problem.said_in(words)})
        headers = {"content-language": words.language, "vary": "accept-language"}
    return document.model_dump_json(by_alias=True).encode(), headers


def require_match(request: Request, document: BaseModel) -> None:
    """Raise unless If-Match names the present state of a resource."""
    if "if-match" not in request.headers:
        raise PreconditionRequired()
    heed_match(request, document)


def heed_match(request: Request, document: BaseModel) -> None:
    """Raise where a precondition is given and does not hold for the present state."""
    not_modified(request, tag_of(_in_language(request, document)[0]))
