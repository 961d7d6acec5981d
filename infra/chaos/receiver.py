"""Takes webhooks and counts the ids of each event."""

from __future__ import annotations

import collections
import json
import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer


class Receiver:
    """A receiver on a port of this machine.

    Attributes
    ----------
    ids : dict
        Ids that came for each (type, subject).
    """

    def __init__(self) -> None:
        self.ids: dict[tuple[str, str], set[str]] = collections.defaultdict(set)
        receiver = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                event = json.loads(self.rfile.read(int(self.headers["content-length"])))
                key = (event["type"], event.get("subject", ""))
                receiver.ids[key].add(self.headers["webhook-id"])
                self.send_response(204)
                self.end_headers()

            def log_message(self, *_arguments: object) -> None:
                pass

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.url = f"http://127.0.0.1:{self._server.server_address[1]}/"
        threading.Thread(target=self._server.serve_forever, daemon=True).start()

    def told(self, kind: str, subject: str) -> bool:
        """Return whether an event of a kind came about a subject."""
        return bool(self.ids.get((kind, subject)))

    def doubled(self) -> list[tuple[str, str]]:
        """Return the events that came under more than one id."""
        return [key for key, found in list(self.ids.items()) if len(found) > 1]

    def close(self) -> None:
        """Take no more."""
        self._server.shutdown()
        self._server.server_close()
