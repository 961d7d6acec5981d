"""A hold watched live: a page with the camera, and the WebSocket it sends small pictures to.

Switched on by ``SERVEWRIGHT_LIVE_HOLD``. Pictures go straight on to the process beside the API
that looks at them (`servewright hold --listen`), and are kept by neither. The key comes in the
first message, since browsers let scripts set no header of a WebSocket; without cookies, no page of
another origin can act for anybody.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import struct
import time
from collections.abc import AsyncIterator
from dataclasses import dataclass
from pathlib import Path

from anyio import to_thread
from fastapi import APIRouter, WebSocket, WebSocketDisconnect
from pydantic import ValidationError
from starlette.requests import Request
from starlette.responses import FileResponse, Response

from models.contract.analysis import CAUTIONS, MINOR_CAUTIONS
from models.contract.errors import Forbidden, RateLimited, ServewrightError
from models.contract.live import LARGEST_FRAME, HoldOpening
from models.contract.note_codes import NoteCode, say
from models.words import catalogue
from service.api.pages import written
from service.api.routing import get_and_head
from service.core.principal import Principal, Scope
from service.core.reach import NOTHING, reaching
from service.core.wiring import Wiring

logger = logging.getLogger(__name__)
router = APIRouter(include_in_schema=False)

ADDRESS = "/v1/live-hold"
OPENING_S, IDLE_S, ANSWER_S = 10.0, 30.0, 5.0
"""Seconds a caller has for the first message and for each next one, and the answer may take."""
LONGEST_S = 900.0
"""One connection lasts at most so long, seconds: whoever goes on shows the key again."""
MOST_A_SECOND, BURST = 20.0, 40.0
"""Pictures a second over time, and at once; more end the connection."""
HEAD = struct.Struct(">dI")
POLICY, TOO_LARGE, BUSY, BROKEN = 1008, 1009, 1013, 1011
"""Close codes (RFC 6455 7.4.1 and its registry)."""
SCRIPT = Path(__file__).parent / "static" / "hold.js"
CSP = (
    "default-src 'none'; style-src 'unsafe-inline'; script-src 'self'; connect-src 'self'; "
    "media-src 'self' blob: mediastream:; base-uri 'none'; form-action 'none'"
)


@get_and_head(router, "/hold")
async def page() -> Response:
    """Return the page."""
    words = catalogue("en")
    cautions = [words.note(each) for each in (*CAUTIONS, *MINOR_CAUTIONS[:1])]
    html = written("hold.html", cautions=cautions)
    headers = {
        "content-security-policy": CSP,
        "permissions-policy": "camera=(self), microphone=()",
        "cache-control": "no-cache",
    }
    return Response(html, media_type="text/html; charset=utf-8", headers=headers)


@get_and_head(router, "/hold/hold.js")
async def script(request: Request) -> Response:
    """Return the page's script."""
    return FileResponse(SCRIPT, media_type="text/javascript", headers={"cache-control": "no-cache"})


@router.websocket(ADDRESS)
async def watch(socket: WebSocket) -> None:
    """Answer pictures with readings until the caller goes."""
    await socket.accept()
    try:
        opening = await _opened(socket)
        wired: Wiring = socket.app.state.wiring
        await to_thread.run_sync(_admitted, wired, opening.key)
        async with _watcher(wired.settings.live_hold_socket, opening) as watching:
            await _go_on(socket, watching)
    except _Ended as ended:
        await _close(socket, ended.code, ended.reason)
    except ServewrightError as error:
        await _close(socket, BUSY if isinstance(error, RateLimited) else POLICY, error.code)
    except WebSocketDisconnect:
        return


class _Ended(Exception):
    """The connection is to be closed with a code and a word."""

    def __init__(self, code: int, reason: str) -> None:
        super().__init__(reason)
        self.code, self.reason = code, reason


async def _close(socket: WebSocket, code: int, reason: str) -> None:
    with contextlib.suppress(RuntimeError, WebSocketDisconnect):
        await socket.close(code, reason)


async def _opened(socket: WebSocket) -> HoldOpening:
    try:
        text = await asyncio.wait_for(socket.receive_text(), OPENING_S)
        return HoldOpening.model_validate_json(text)
    except (TimeoutError, ValidationError, KeyError) as error:
        raise _Ended(POLICY, "invalid_request") from error


def _admitted(wired: Wiring, key: str) -> Principal:
    """Return who holds a key that may have films analysed; counts as a request. Blocks."""
    with reaching(NOTHING):
        principal = wired.keys.authenticate(key)
        own = principal.requests_per_minute
        limit = wired.quotas.defaults.requests_per_minute if own is None else own
        wired.rates.check(principal.tenant_id, limit)
    if not principal.may(Scope.ANALYSES_WRITE):
        raise Forbidden(say(NoteCode.SCOPE_MISSING, scope=Scope.ANALYSES_WRITE.value))
    return principal


@dataclass
class _Watcher:
    """The process that looks at pictures, as one connection to it."""

    reader: asyncio.StreamReader
    writer: asyncio.StreamWriter

    async def answer(self, time_s: float, picture: bytes) -> str:
        """Return what is said of a picture."""
        self.writer.write(HEAD.pack(time_s, len(picture)) + picture)
        await self.writer.drain()
        return await self.line()

    async def line(self) -> str:
        """Return the next line."""
        line = await asyncio.wait_for(self.reader.readline(), ANSWER_S)
        if not line:
            raise _Ended(BUSY, "busy")
        return line.decode().rstrip("\n")


@contextlib.asynccontextmanager
async def _watcher(path: Path, opening: HoldOpening) -> AsyncIterator[_Watcher]:
    try:
        reader, writer = await asyncio.open_unix_connection(str(path))
    except OSError as error:
        logger.warning("holds are not watched: is `servewright hold --listen` running?")
        raise _Ended(BUSY, "not_running") from error
    try:
        told = opening.model_copy(update={"key": ""})
        writer.write(told.model_dump_json().encode() + b"\n")
        watching = _Watcher(reader, writer)
        await watching.line()  # it has room
        yield watching
    except (TimeoutError, ConnectionError) as error:
        raise _Ended(BROKEN, "not_answered") from error
    finally:
        writer.close()


async def _go_on(socket: WebSocket, watching: _Watcher) -> None:
    """Pass pictures on one after the other, as fast as they are answered."""
    await socket.send_text('{"reading":false}')
    began = last = time.monotonic()
    room = BURST
    while True:
        try:
            picture = await asyncio.wait_for(socket.receive_bytes(), IDLE_S)
        except (TimeoutError, KeyError) as error:
            raise _Ended(POLICY, "invalid_request") from error
        now = time.monotonic()
        room = min(room + (now - last) * MOST_A_SECOND, BURST) - 1.0
        last = now
        if room < 0.0:
            raise _Ended(POLICY, "rate_limited")
        if len(picture) > LARGEST_FRAME:
            raise _Ended(TOO_LARGE, "payload_too_large")
        if now - began > LONGEST_S:
            raise _Ended(POLICY, "too_long")
        await socket.send_text(await watching.answer(now - began, picture))
