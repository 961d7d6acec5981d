"""How long the API waits for its callers, and for how many at a time, without a proxy before it.

uvicorn closes idle connections but waits without end for the rest of a request, and takes as many
connections as there are descriptors. Here every connection is looked at once a second, by what
h11 says it is at: headers, body or answer.
"""

from __future__ import annotations

import asyncio
import logging
import time
from dataclasses import dataclass
from typing import Any, ClassVar

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

logger = logging.getLogger(__name__)

LOOK_S = 1.0
"""Seconds between two looks at a connection."""
BODY_WINDOW_S = 30.0
"""Seconds over which the pace of a body is judged (working value)."""
LEAST_PACE = 1024
"""Bytes a second below which a sender counts as gone; the slowest mobile networks (GPRS) carry
several times as much."""
UNREAD_S = 60.0
"""Seconds in which a reader of an answer must take something (working value)."""
TOLD_EVERY_S = 10.0
"""Seconds between two lines of the log about too many connections."""
CLOSING_S = 5.0
"""Seconds a connection that is being closed gets to take what is left (working value)."""
_TIMED_OUT = b"HTTP/1.1 408 Request Timeout\r\nconnection: close\r\ncontent-length: 0\r\n\r\n"
"""RFC 9110, 15.5.9."""


@dataclass(frozen=True, slots=True)
class ConnectionLimits:
    """What one process of the API grants its callers.

    Attributes
    ----------
    header_s : float
        Seconds from the connection, or from the last answer, to the end of a request's headers.
    connections : int
        Most connections at a time; beyond it, the one that has kept its headers back longest goes.
    """

    header_s: float
    connections: int


class PatientProtocol(H11Protocol):
    """HTTP/1.1 with an end to every wait. Use :func:`patient`, which sets the limits."""

    limits: ConnectionLimits
    _told_at: ClassVar[float] = float("-inf")

    def __init__(self, *args: Any, **named: Any) -> None:
        super().__init__(*args, **named)
        self._since = time.monotonic()
        self._window = (self._since, 0)
        self._received = 0
        self._unread = (0, self._since)
        self._closing_since: float | None = None
        self._look: asyncio.TimerHandle | None = None

    @property
    def waits_for_headers(self) -> bool:
        """Whether the caller has yet to send the headers of a request."""
        return self.conn.their_state is h11.IDLE

    @property
    def waiting_since(self) -> float:
        """When the wait for headers began."""
        return self._since

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Take a connection, unless there are too many."""
        super().connection_made(transport)
        self._since = time.monotonic()
        self._look = self.loop.call_later(LOOK_S, self._look_at_it)
        if len(self.connections) > self.limits.connections:
            self._make_room()

    def connection_lost(self, exc: Exception | None) -> None:
        """Look at it no more."""
        if self._look is not None:
            self._look.cancel()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Count what arrives."""
        self._received += len(data)
        super().data_received(data)

    def on_response_complete(self) -> None:
        """Begin to wait for the next request."""
        self._since = time.monotonic()
        super().on_response_complete()

    def _make_room(self) -> None:
        """Drop whoever has kept headers back longest; the newcomer when nobody does."""
        others = [
            one
            for one in self.connections
            if isinstance(one, PatientProtocol) and one is not self and one.waits_for_headers
        ]
        victim = min(others, key=lambda one: one.waiting_since, default=self)
        self._tell_of_full_house()
        self.connections.discard(victim)  # counted no more, though it ends a moment later
        victim.transport.abort()

    def _tell_of_full_house(self) -> None:
        """Say it, though not a thousand times."""
        now = time.monotonic()
        if now - PatientProtocol._told_at > TOLD_EVERY_S:
            PatientProtocol._told_at = now
            logger.warning("%d connections: those that send nothing go", self.limits.connections)

    def _look_at_it(self) -> None:
        now = time.monotonic()
        self._look = self.loop.call_later(LOOK_S, self._look_at_it)
        if self.transport.is_closing():
            self._closing_since = self._closing_since or now
            if now - self._closing_since > CLOSING_S:
                self.transport.abort()
        elif self.waits_for_headers:
            self._window = (now, self._received)
            if now - self._since > self.limits.header_s:
                self.transport.write(_TIMED_OUT)
                self.transport.close()
        elif self.conn.their_state is h11.SEND_BODY:
            self._judge_body(now)
        else:
            self._judge_reader(now)

    def _judge_body(self, now: float) -> None:
        began, before = self._window
        if self.flow.read_paused:  # it is this side that does not keep up
            self._window = (now, self._received)
        elif now - began >= BODY_WINDOW_S:
            if self._received - before < LEAST_PACE * BODY_WINDOW_S:
                logger.warning("a body arrives too slowly: closed")
                self.transport.close()
            self._window = (now, self._received)

    def _judge_reader(self, now: float) -> None:
        left = self.transport.get_write_buffer_size()
        if not self.flow.write_paused or left != self._unread[0]:
            self._unread = (left, now)
        elif now - self._unread[1] > UNREAD_S:
            logger.warning("an answer is not read: closed")
            self.transport.abort()


def patient(limits: ConnectionLimits) -> type[PatientProtocol]:
    """Return the protocol with these limits, for uvicorn's ``http``."""
    return type("Patient", (PatientProtocol,), {"limits": limits})
