"""Answers in gzip (RFC 1952) to who accepts it: text of some length, never films or byte ranges.

What is sent so is another representation with an entity tag of its own (RFC 9110 8.8.3.3): that of
the plain one with a suffix, which preconditions accept as well (:mod:`service.api.conditional`).
"""

from __future__ import annotations

import re
import zlib
from typing import Any

from anyio import to_thread
from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service.api.conditional import gzip_tag

LEAST_BYTES = 1024
"""Shorter answers are sent as they are: with less, headers and work outweigh what is saved (working
value)."""
LEVEL = 6
"""Of zlib; its own default."""
APART_BYTES = 64 * 1024
"""Pieces longer than this are compressed in a thread, so that other requests go on."""
_GZIP = 16 + zlib.MAX_WBITS
_TEXT = re.compile(r"^(text/|application/(.+\+)?(json|yaml)\b)")
_NO_CONTENT = frozenset({204, 206, 304})
_ONE = re.compile(r"^\s*([^\s;]+)\s*(?:;\s*q\s*=\s*([01](?:\.\d{0,3})?))?\s*$", re.IGNORECASE)


def accepts_gzip(header: str) -> bool:
    """Tell whether an Accept-Encoding field asks for gzip (RFC 9110 12.5.3)."""
    weights: dict[str, float] = {}
    for part in header.split(","):
        if match := _ONE.match(part):
            weights[match[1].lower()] = float(match[2] or 1)
    return weights.get("gzip", weights.get("x-gzip", weights.get("*", 0.0))) > 0


class Compression:
    """Compresses what goes out, piece by piece."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one connection."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        await self._app(scope, receive, _Answer(scope, send))


class _Answer:
    """One answer on its way out."""

    def __init__(self, scope: Scope, send: Send) -> None:
        asked = Headers(scope=scope)
        self._send = send
        self._wanted = accepts_gzip(", ".join(asked.getlist("accept-encoding")))
        self._known = ", ".join(asked.getlist("if-none-match"))
        self._head = scope["method"] == "HEAD"
        self._start: Message | None = None
        self._packer: Any = None

    async def __call__(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            if self._compressible(message):
                self._start = message  # its length is known with the first piece
                return
        elif message["type"] == "http.response.body" and self._start is not None:
            await self._first(message)
            return
        elif message["type"] == "http.response.body" and self._packer is not None:
            message = await self._packed(message)
        await self._send(message)

    def _compressible(self, message: Message) -> bool:
        headers = MutableHeaders(scope=message)
        if message["status"] == 304 and (tag := gzip_tag(headers.get("etag", ""))) in self._known:
            headers["etag"] = tag
        if message["status"] in _NO_CONTENT or "content-encoding" in headers:
            return False
        if not _TEXT.match(headers.get("content-type", "")):
            return False
        if int(headers.get("content-length", LEAST_BYTES)) < LEAST_BYTES:
            return False
        headers.add_vary_header("Accept-Encoding")
        return self._wanted

    async def _first(self, message: Message) -> None:
        start, self._start = self._start, None
        assert start is not None
        headers = MutableHeaders(scope=start)
        headers["content-encoding"] = "gzip"
        for name in ("content-length", "accept-ranges"):
            if name in headers:
                del headers[name]
        if "etag" in headers:
            headers["etag"] = gzip_tag(headers["etag"])
        if not self._head:
            self._packer = zlib.compressobj(LEVEL, zlib.DEFLATED, _GZIP)
            message = await self._packed(message)
            if not message.get("more_body", False):
                headers["content-length"] = str(len(message["body"]))
        await self._send(start)
        await self._send(message)

    async def _packed(self, message: Message) -> Message:
        body, more = message.get("body", b""), message.get("more_body", False)
        if len(body) > APART_BYTES:
            packed = await to_thread.run_sync(self._pack, body, more)
        else:
            packed = self._pack(body, more)
        return {**message, "body": packed}

    def _pack(self, body: bytes, more: bool) -> bytes:
        packed: bytes = self._packer.compress(body)
        return packed if more else packed + self._packer.flush()
