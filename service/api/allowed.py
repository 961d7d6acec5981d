"""Which methods an address knows: the Allow field, and the answer to OPTIONS (RFC 9110 9.3.7)."""

from __future__ import annotations

from fastapi import FastAPI
from starlette.requests import Request
from starlette.routing import Match

METHODS = ("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS")


def allowed_methods(request: Request) -> str:
    """Return the methods of the address of a request, as the Allow field lists them."""
    app: FastAPI = request.app
    found = [method for method in METHODS if _known(app, request, method)]
    if "OPTIONS" not in found:
        found.append("OPTIONS")
    return ", ".join(found)


def _known(app: FastAPI, request: Request, method: str) -> bool:
    scope = {**request.scope, "method": method}
    return any(route.matches(scope)[0] is Match.FULL for route in app.router.routes)
