"""A span for each request, as OpenTelemetry's semantic conventions for HTTP name things (1.38).

Written by hand: the instrumentation that there is for ASGI records whole addresses, which hold
what opens links and how callers name players.
"""

from __future__ import annotations

from opentelemetry.trace import SpanKind
from starlette.datastructures import Headers
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service.api.middleware import METRICS, PROBES
from service.core.traces import TRACEPARENT, Traces, failed

_METHODS = frozenset({"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"})


class TracedRequests:
    """Middleware that records requests; a caller's ``traceparent`` is gone on with."""

    def __init__(self, app: ASGIApp, traces: Traces) -> None:
        self._app = app
        self._traces = traces

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one connection."""
        if scope["type"] != "http" or scope["path"] in PROBES or scope["path"] == METRICS:
            await self._app(scope, receive, send)
            return
        method = scope["method"] if scope["method"] in _METHODS else "_OTHER"
        given = Headers(scope=scope).get(TRACEPARENT)
        about = {"http.request.method": method}
        with self._traces.span(method, given, SpanKind.SERVER, about) as span:

            async def outgoing(message: Message) -> None:
                if message["type"] == "http.response.start":
                    route = getattr(scope.get("route"), "path_format", "none")
                    span.update_name(f"{method} {route}")
                    span.set_attribute("http.route", route)
                    span.set_attribute("http.response.status_code", message["status"])
                    span.set_attribute("servewright.request_id", scope["state"]["request_id"])
                    if message["status"] >= 500:
                        failed(span, str(message["status"]))
                await send(message)

            await self._app(scope, receive, outgoing)
