"""Example receiver of signed webhooks: check the signature, drop repeats, then act.

``WEBHOOK_SECRET=whsec_... python infra/examples/receiver.py --port 8900`` prints each accepted
event as one line of JSON. Copy the function `accept` into your own service.
"""

from __future__ import annotations

import argparse
import json
import os
from collections.abc import Mapping
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

from standardwebhooks.webhooks import Webhook, WebhookVerificationError

MAX_BODY = 64 * 1024


class Rejected(Exception):
    """The request is not a webhook signed with our secret."""


def accept(secret: str, headers: Mapping[str, str], body: bytes) -> dict[str, Any]:
    """Return the event of a webhook whose signature and age are right.

    Raises
    ------
    Rejected
        For any other request. The library raises ``ValueError`` (``UnicodeDecodeError`` is one)
        on a malformed header or body instead of its own error; a receiver that does not catch it
        answers 500 to garbage.
    """
    try:
        event = Webhook(secret).verify(body, {k.lower(): v for k, v in headers.items()})
    except (WebhookVerificationError, ValueError) as error:
        raise Rejected(str(error)) from error
    if not isinstance(event, dict):
        raise Rejected("the body is not a JSON object")
    return event


class Receiver(ThreadingHTTPServer):
    """Listens on this machine only and prints each new event."""

    daemon_threads = True

    def __init__(self, port: int, secret: str) -> None:
        super().__init__(("127.0.0.1", port), _Handler)
        self.secret = secret
        self.seen: set[str] = set()


class _Handler(BaseHTTPRequestHandler):
    server: Receiver

    def do_POST(self) -> None:
        length = self.headers.get("content-length", "")
        if not length.isdecimal():
            self._answer(411)
            return
        if int(length) > MAX_BODY:
            self._answer(413)
            return
        try:
            event = accept(self.server.secret, dict(self.headers), self.rfile.read(int(length)))
        except Rejected:
            self._answer(401)
            return
        # Delivery is at least once: the id stays the same over retries.
        if event["id"] not in self.server.seen:
            self.server.seen.add(event["id"])
            print(json.dumps(event), flush=True)
        self._answer(204)

    def _answer(self, status: int) -> None:
        self.send_response(status)
        self.send_header("content-length", "0")
        self.end_headers()

    def log_message(self, format: str, *args: object) -> None:
        """Keep standard output for the events."""


def main() -> None:
    """Command line of this example."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--port", type=int, required=True)
    arguments = parser.parse_args()
    secret = os.environ.get("WEBHOOK_SECRET")
    if not secret:
        parser.error("set WEBHOOK_SECRET to the secret of the endpoint")
    receiver = Receiver(arguments.port, secret)
    print(f"listening on port {arguments.port}", flush=True)
    receiver.serve_forever()


if __name__ == "__main__":
    main()
