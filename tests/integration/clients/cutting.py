"""A line between client and service that breaks again and again."""

from __future__ import annotations

import contextlib
import socket
import threading
from collections.abc import Iterator

BLOCK = 16 * 1024
"""Bytes read at a time."""


class CuttingLine:
    """Passes bytes on; each connection is cut once so many of the client's bytes went through.

    Parameters
    ----------
    to : tuple
        Host and port of the service.
    lasts : list of int
        Bytes that each of the first connections lasts; those after them last for good.
    """

    def __init__(self, to: tuple[str, int], lasts: list[int]) -> None:
        self._to, self._lasts = to, lasts
        self.cuts = 0
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.url = f"http://127.0.0.1:{self._listener.getsockname()[1]}"
        threading.Thread(target=self._accept, daemon=True).start()

    def close(self) -> None:
        """Take no more connections."""
        self._listener.close()

    def _accept(self) -> None:
        with contextlib.suppress(OSError):
            while True:
                near, _ = self._listener.accept()
                far = socket.create_connection(self._to)
                left = self._lasts.pop(0) if self._lasts else None
                for args in ((near, far, left), (far, near, None)):
                    threading.Thread(target=self._pass, args=args, daemon=True).start()

    def _pass(self, source: socket.socket, target: socket.socket, left: int | None) -> None:
        with contextlib.suppress(OSError):
            while block := source.recv(BLOCK if left is None else max(1, min(BLOCK, left))):
                target.sendall(block)
                if left is not None and (left := left - len(block)) <= 0:
                    self.cuts += 1
                    break
        for end in (source, target):
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)
            end.close()


@contextlib.contextmanager
def cutting_line(url: str, lasts: list[int]) -> Iterator[CuttingLine]:
    """Lay a line to a service as long as the block."""
    host, port = url.removeprefix("http://").split(":")
    line = CuttingLine((host, int(port)), lasts)
    try:
        yield line
    finally:
        line.close()
