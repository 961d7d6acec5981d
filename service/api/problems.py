"""Every error as an RFC 9457 problem, those of the framework included.

Submitted values are never echoed: only places and reasons.
"""

from __future__ import annotations

import logging
import traceback
from collections.abc import Mapping
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from sqlalchemy.exc import DBAPIError
from starlette.exceptions import HTTPException
from starlette.responses import Response

from models.contract.errors import (
    DatabaseUnavailable,
    DependencyError,
    Internal,
    InvalidRequest,
    MalformedRequest,
    MethodNotAllowed,
    NotFound,
    PayloadTooLarge,
    RangeNotSatisfiable,
    ServewrightError,
    Unauthenticated,
    UnsupportedMediaType,
)
from models.contract.note_codes import NoteCode, say
from models.contract.problem import FieldError, Problem
from models.contract.refusals import field_words
from models.words import Words, catalogue, negotiate
from service.api.allowed import allowed_methods

logger = logging.getLogger(__name__)

MEDIA_TYPE = "application/problem+json"
RETRY_AFTER_S = 5
"""What ``Retry-After`` says when a part of the installation does not answer, seconds."""
_FRAMEWORK: Mapping[int, type[ServewrightError]] = {
    400: MalformedRequest,
    404: NotFound,
    413: PayloadTooLarge,
    415: UnsupportedMediaType,
    416: RangeNotSatisfiable,
}


class ProblemResponse(Response):
    """A problem document."""

    media_type = MEDIA_TYPE


def problem_response(
    error: ServewrightError,
    request_id: str | None,
    instance: str | None,
    language: str | None,
    *,
    fields: tuple[FieldError, ...] = (),
    headers: Mapping[str, str] | None = None,
) -> ProblemResponse:
    """Return the response that states an error, in the words an Accept-Language header asks for."""
    words = catalogue(negotiate(language))
    if not fields:
        invalid = error.extra.get("invalid", ())
        fields = tuple(_field(pointer, item, words) for pointer, item in invalid)
    pointer = error.extra.get("pointer")
    if pointer is not None and not fields:
        fields = (FieldError(pointer=pointer, detail=words.note(error.note)),)
    problem = Problem.of(error, request_id=request_id, instance=instance, errors=fields)
    problem = problem.said_in(words)
    sent = {"cache-control": "no-store", **(headers or {}), **error.extra.get("headers", {})}
    sent |= {"content-language": words.language, "vary": "accept-language"}
    if isinstance(error, Unauthenticated):
        sent["www-authenticate"] = 'Bearer realm="servewright"'
    if isinstance(error, DependencyError):
        sent.setdefault("retry-after", str(RETRY_AFTER_S))
    return ProblemResponse(
        problem.model_dump_json(exclude_none=True), status_code=error.status, headers=sent
    )


def respond(
    request: Request,
    error: ServewrightError,
    *,
    fields: tuple[FieldError, ...] = (),
    headers: Mapping[str, str] | None = None,
) -> ProblemResponse:
    """Return the problem response to a request."""
    request_id = getattr(request.state, "request_id", None)
    language = request.headers.get("accept-language")
    return problem_response(
        error, request_id, request.url.path, language, fields=fields, headers=headers
    )


async def _on_our_error(request: Request, error: Exception) -> Response:
    assert isinstance(error, ServewrightError)
    if error.status >= 500:
        logger.error("%s %s: %s", request.method, request.url.path, error.code)
    return respond(request, error)


async def _on_framework_error(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    if isinstance(error.__cause__, ServewrightError):  # raised while the body was being read
        return await _on_our_error(request, error.__cause__)
    if error.status_code == 405:
        allow = {"allow": allowed_methods(request)}
        if request.method == "OPTIONS":
            return Response(status_code=204, headers=allow)
        return respond(request, MethodNotAllowed(), headers=allow)
    cls = _FRAMEWORK.get(error.status_code)
    if cls is None:
        cls = Internal if error.status_code >= 500 else InvalidRequest
    return respond(request, cls(), headers=error.headers)


def _pointer(location: tuple[Any, ...]) -> str:
    where, *rest = location
    if where == "body":
        return "/" + "/".join(str(part).replace("~", "~0").replace("/", "~1") for part in rest)
    return str(rest[0]) if rest else str(where)


def _field(pointer: str, item: Mapping[str, Any], words: Words) -> FieldError:
    return FieldError(pointer=pointer, detail=field_words(words, item), code=str(item["type"]))


async def _on_invalid(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)
    found = error.errors()
    in_body = any(item["loc"][:1] == ("body",) for item in found)
    media_type = request.headers.get("content-type", "").split(";")[0].strip().lower()
    if in_body and not (media_type == "application/json" or media_type.endswith("+json")):
        return respond(request, UnsupportedMediaType(say(NoteCode.JSON_EXPECTED)))
    if any(item["type"] == "json_invalid" for item in found):
        return respond(request, MalformedRequest(say(NoteCode.JSON_INVALID)))
    words = catalogue(negotiate(request.headers.get("accept-language")))
    fields = tuple(_field(_pointer(item["loc"]), item, words) for item in found)
    return respond(request, InvalidRequest(), fields=fields)


async def _on_database_error(request: Request, error: Exception) -> Response:
    # Where it happened, without what it says: servers quote the row (PostgreSQL's DETAIL line).
    where = "".join(traceback.format_tb(error.__traceback__))
    logger.error("database error: %s, raised in\n%s", type(error).__name__, where)
    lost = isinstance(error, DBAPIError) and error.connection_invalidated
    return respond(request, DatabaseUnavailable() if lost else Internal())


def install(app: FastAPI) -> None:
    """Register the handlers. What nobody handles is caught by the outermost middleware."""
    app.add_exception_handler(ServewrightError, _on_our_error)
    app.add_exception_handler(HTTPException, _on_framework_error)
    app.add_exception_handler(RequestValidationError, _on_invalid)
    app.add_exception_handler(DBAPIError, _on_database_error)
