"""Lets those in who come with a link instead of a key: ``/i/…`` sends films, ``/s/…`` reads."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated

from anyio import to_thread
from fastapi import Depends, Path, Request
from starlette.datastructures import Headers
from starlette.types import ASGIApp, Receive, Scope, Send

from models.contract.errors import NotFound, ServewrightError
from service.api.link_pages import apology
from service.core.guests import Guest
from service.core.link_text import PREFIXES, TOKEN_PATTERN
from service.core.reach import reaching
from service.core.tables import IntakeLink, ShareLink


def link_of(path: str) -> tuple[str, str] | None:
    """Return (kind, secret part) of an address that works without a key; None for any other."""
    parts = path.split("/", 3)
    if len(parts) < 3 or parts[1] not in PREFIXES or not parts[2]:
        return None
    return parts[1], parts[2]


class LinkAdmission:
    """Recognises links before anything is read.

    Parameters
    ----------
    admit : callable
        Returns who comes with (kind, secret part, address). Blocks.
    """

    def __init__(self, app: ASGIApp, admit: Callable[[str, str, str], Guest]) -> None:
        self._app = app
        self._admit = admit

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one connection."""
        named = link_of(scope["path"]) if scope["type"] == "http" else None
        if named is None:
            await self._app(scope, receive, send)
            return
        caller = scope.get("client")
        try:
            guest = await to_thread.run_sync(self._admit, *named, caller[0] if caller else "")
        except ServewrightError as error:
            headers = Headers(scope=scope)
            if scope["method"] != "GET" or "text/html" not in headers.get("accept", ""):
                raise
            page = apology(error, headers.get("accept-language"))
            await page(scope, receive, send)
            return
        scope.setdefault("state", {})["guest"] = guest
        with reaching(guest.principal.reach):
            await self._app(scope, receive, send)


def _guest(
    request: Request,
    token: Annotated[
        str, Path(pattern=TOKEN_PATTERN, description="The secret part of the address of a link.")
    ],
) -> Guest:
    guest: Guest | None = getattr(request.state, "guest", None)
    if guest is None:  # no link has this form
        raise NotFound()
    return guest


def sender(guest: Annotated[Guest, Depends(_guest)]) -> Guest:
    """Return who comes with an intake link."""
    if not isinstance(guest.link, IntakeLink):
        raise NotFound()
    return guest


def reader(guest: Annotated[Guest, Depends(_guest)]) -> Guest:
    """Return who comes with a share link."""
    if not isinstance(guest.link, ShareLink):
        raise NotFound()
    return guest


Sender = Annotated[Guest, Depends(sender)]
Reader = Annotated[Guest, Depends(reader)]
