"""A receiver of webhooks on a socket of this machine."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer


class Receiver(ThreadingHTTPServer):
    """Keeps what it gets; answers with the next status of ``answers`` (then 204)."""

    daemon_threads = True

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), _Handler)
        self.got: list[tuple[dict[str, str], bytes]] = []
        self.answers: list[int] = []
        self.says = b""

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.server_address[1]}/hook"


class _Handler(BaseHTTPRequestHandler):
    def do_POST(self) -> None:
        server = self.server
        assert isinstance(server, Receiver)
        body = self.rfile.read(int(self.headers["content-length"]))
        server.got.append(({k.lower(): v for k, v in self.headers.items()}, body))
        status = server.answers.pop(0) if server.answers else 204
        self.send_response(status)
        if status in (301, 302, 307, 308):
            self.send_header("location", server.url)
        signature = self.headers["webhook-signature"].encode()
        said = server.says.replace(b"{signature}", signature)
        self.send_header("content-length", str(len(said)))
        self.send_header("set-cookie", "session=let-me-in")
        self.end_headers()
        self.wfile.write(said)

    def log_message(self, *args: object) -> None:
        return


@contextmanager
def receiving() -> Iterator[Receiver]:
    """Run one."""
    server = Receiver()
    thread = threading.Thread(target=server.serve_forever, args=(0.02,), daemon=True)
    thread.start()
    try:
        yield server
    finally:
        server.shutdown()
        server.server_close()
        thread.join()
