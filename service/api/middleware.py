"""What surrounds every request: its id, its size limit, its key, and the last catch of errors."""

from __future__ import annotations

import logging
import re
import time
import uuid
from collections.abc import Callable
from urllib.parse import quote

from anyio import to_thread
from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from models.contract.errors import Internal, PayloadTooLarge, ServewrightError, Unauthenticated
from models.contract.note_codes import NoteCode, say
from service.api.problems import problem_response
from service.core.logs import log_about
from service.core.principal import Principal
from service.core.reach import NOTHING, reaching

logger = logging.getLogger(__name__)

_SECRET_PART = re.compile(r"^(/[is]/)[^/]+")
"""Of an address that works without a key: it does not belong into a log."""
_REQUEST_ID = re.compile(r"^[A-Za-z0-9_-]{8,64}$")
SECURITY_HEADERS = {
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "x-frame-options": "DENY",
    "cross-origin-resource-policy": "same-origin",
}
FILMS = ("video/", "multipart/form-data", "application/offset+octet-stream")
"""What the media type of a body begins with that holds a film."""
PROTECTED = "/v1"
JOINTS = PROTECTED + "/joints"
METRICS = "/metrics"
"""Beside /v1, where Prometheus looks; it needs a key as well."""
PROBES = frozenset({"/livez", "/readyz"})
"""Asked every few seconds: logged at level debug."""


class RequestBoundary:
    """Outermost: names the request, adds headers, turns any uncaught error into a problem."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one connection."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        given = Headers(scope=scope).get("x-request-id", "")
        request_id = given if _REQUEST_ID.match(given) else uuid.uuid4().hex
        scope.setdefault("state", {})["request_id"] = request_id
        started = False
        began = time.monotonic()

        async def outgoing(message: Message) -> None:
            nonlocal started
            if message["type"] == "http.response.start":
                started = True
                _log_answer(scope, message["status"], time.monotonic() - began, request_id)
                headers = MutableHeaders(scope=message)
                headers["x-request-id"] = request_id
                for name, value in SECURITY_HEADERS.items():
                    headers.setdefault(name, value)
                if scope["path"].startswith(PROTECTED):
                    headers.setdefault("cache-control", "no-store")
            await send(message)

        try:
            # It reaches nothing until a key or a link is recognised.
            with log_about(request_id=request_id), reaching(NOTHING):
                await self._app(scope, receive, outgoing)
        except Exception as error:
            if started:  # too late for another answer: the server cuts the connection
                raise
            if not isinstance(error, ServewrightError):
                logger.exception("request %s failed", request_id)
                error = Internal()
            response = problem_response(
                error, request_id, scope["path"], Headers(scope=scope).get("accept-language")
            )
            await response(scope, receive, outgoing)


def _log_answer(scope: Scope, status: int, seconds: float, request_id: str) -> None:
    """Write one line an answer. Ids only: query strings and bodies may name players."""
    level = logging.DEBUG if scope["path"] in PROBES else logging.INFO
    path = quote(scope["path"])  # a line break in it must not forge a line of the log
    path = _SECRET_PART.sub(r"\1…", path)
    answered = (scope["method"], path, status, 1000 * seconds, request_id)
    logger.log(level, "%s %s %d in %.0f ms, request %s", *answered)


class BodyLimit:
    """Refuses bodies that are too large, by Content-Length at once and by counting otherwise."""

    def __init__(self, app: ASGIApp, limit_of: Callable[[str, str], int]) -> None:
        self._app = app
        self._limit_of = limit_of

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one connection."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        limit = self._limit_of(scope["method"], scope["path"])
        stated = Headers(scope=scope).get("content-length", "")
        if stated.isdigit() and int(stated) > limit:
            raise _too_large(scope, limit)
        received = 0

        async def counted() -> Message:
            nonlocal received
            message = await receive()
            if message["type"] == "http.request":
                received += len(message.get("body", b""))
                if received > limit:
                    raise _too_large(scope, limit)
            return message

        await self._app(scope, counted, send)


def _too_large(scope: Scope, limit: int) -> PayloadTooLarge:
    kind = Headers(scope=scope).get("content-type", "").lower()
    film = kind.startswith(FILMS) and scope["path"] != JOINTS
    code = NoteCode.FILM_BODY_TOO_LARGE if film else NoteCode.BODY_TOO_LARGE
    return PayloadTooLarge(say(code, limit=limit), headers={"connection": "close"})


class Authentication:
    """Everything below /v1 needs a key, also paths that do not exist.

    Parameters
    ----------
    admit : callable
        Returns who holds a key, or raises ``Unauthenticated`` or ``RateLimited``. Blocks.
    """

    def __init__(self, app: ASGIApp, admit: Callable[[str], Principal]) -> None:
        self._app = app
        self._admit = admit

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one connection."""
        path = scope["path"] if scope["type"] == "http" else ""
        if path in (PROTECTED, METRICS) or path.startswith(PROTECTED + "/"):
            scheme, _, key = Headers(scope=scope).get("authorization", "").partition(" ")
            if scheme.lower() != "bearer" or not key.strip():
                raise Unauthenticated()
            principal = await to_thread.run_sync(self._admit, key.strip())
            scope.setdefault("state", {})["principal"] = principal
            with log_about(tenant_id=principal.tenant_id), reaching(principal.reach):
                await self._app(scope, receive, send)
            return
        await self._app(scope, receive, send)
