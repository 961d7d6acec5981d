"""The API behind a real socket, and a line to it that can be cut and slowed."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from typing import Any

import uvicorn
from fastapi import FastAPI

PATIENCE_S = 60.0
"""So long a test waits for something that must come, seconds."""


@contextmanager
def served(app: FastAPI) -> Iterator[int]:
    """Serve an application; yield its port."""
    listener = socket.create_server(("127.0.0.1", 0))
    config = uvicorn.Config(app, log_config=None, access_log=False, timeout_graceful_shutdown=1)
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
    thread.start()
    until(lambda: server.started)
    try:
        yield int(listener.getsockname()[1])
    finally:
        server.should_exit = True
        thread.join(PATIENCE_S)
        listener.close()


def until(true: Callable[[], Any]) -> Any:
    """Wait until something holds; return it."""
    give_up = time.monotonic() + PATIENCE_S
    while not (found := true()):
        if time.monotonic() > give_up:
            raise AssertionError("waited in vain")
        time.sleep(0.02)
    return found


class Line:
    """A proxy on one port before another, whose connections can be cut.

    Attributes
    ----------
    target : int
        Port that connections lead to.
    carried : int
        Bytes that went towards the server.
    cut_after : int or None
        Cut all connections when so many bytes have gone.
    down : bool
        Whether new connections are refused.
    """

    def __init__(self, target: int) -> None:
        self.target = target
        self.carried = 0
        self.cuts = 0
        self.cut_after: int | None = None
        self.down = False
        self._open: set[socket.socket] = set()
        self._lock = threading.Lock()
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port = int(self._listener.getsockname()[1])
        threading.Thread(target=self._accept, daemon=True).start()

    def close(self) -> None:
        """End it."""
        self._listener.close()
        self.cut()

    def cut(self) -> None:
        """Break every connection off, in the middle of whatever it carries."""
        with self._lock:
            ends, self._open = self._open, set()
            self.cuts += 1
        for end in ends:
            with suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)
            end.close()

    def _accept(self) -> None:
        while True:
            try:
                near, _ = self._listener.accept()
            except OSError:
                return
            if self.down:
                near.close()
                continue
            try:
                far = socket.create_connection(("127.0.0.1", self.target), 5)
            except OSError:
                near.close()
                continue
            with self._lock:
                self._open |= {near, far}
            for source, sink, counts in ((near, far, True), (far, near, False)):
                threading.Thread(
                    target=self._carry, args=(source, sink, counts), daemon=True
                ).start()

    def _carry(self, source: socket.socket, sink: socket.socket, counts: bool) -> None:
        with suppress(OSError):
            while data := source.recv(1 << 16):
                if counts:
                    self.carried += len(data)
                    if self.cut_after is not None and self.carried >= self.cut_after:
                        self.cut_after = None
                        self.cut()
                        return
                sink.sendall(data)
        with self._lock:
            self._open -= {source, sink}
        for end in (source, sink):
            with suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)
            end.close()  # or whoever still sends would wait for ever
