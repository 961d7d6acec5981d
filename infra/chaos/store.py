"""An object store that fails: moto's S3 server behind a proxy that refuses or cuts off calls."""

from __future__ import annotations

import collections
import http.client
import random
import subprocess
import sys
import threading
import time
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import boto3

from infra.chaos.postgres import free_port

BUCKET = "serves"
HOPS = frozenset({"connection", "keep-alive", "transfer-encoding", "content-length", "expect"})
"""Header fields that end at a proxy."""


class FailingStore:
    """S3 at :attr:`url`, of whose calls a share fails in one of three ways.

    ``refused``: 503 before anything is done. ``unanswered``: done, and the connection is closed
    without an answer. ``cut``: done, and the answer breaks off half way.

    Parameters
    ----------
    share : float
        Of calls that fail, 0..1.
    """

    def __init__(self, share: float, seed: int) -> None:
        self.counts: collections.Counter[str] = collections.Counter()
        self.share = 0.0  # until the bucket is there
        self._dice, self._lock = random.Random(seed), threading.Lock()
        port = free_port()
        self._moto = subprocess.Popen(
            [sys.executable, "-m", "moto.server", "-H", "127.0.0.1", "-p", str(port)],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        store = self

        class Handler(BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.1"

            def _pass(self) -> None:
                store.answer(self, port)

            do_GET = do_PUT = do_POST = do_DELETE = do_HEAD = _pass  # noqa: N815

            def log_message(self, *_arguments: object) -> None:
                pass

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self._server.daemon_threads = True
        self.url = f"http://127.0.0.1:{self._server.server_address[1]}"
        threading.Thread(target=self._server.serve_forever, daemon=True).start()
        self._make_bucket()
        self.share = share

    def client(self) -> object:
        """Return a client of the store itself, through the proxy."""
        return boto3.client(
            "s3",
            endpoint_url=self.url,
            region_name="us-east-1",
            aws_access_key_id="test",
            aws_secret_access_key="test",
        )

    def answer(self, caller: BaseHTTPRequestHandler, port: int) -> None:
        """Pass one call on, or fail."""
        with self._lock:
            failing = self._dice.random() < self.share
            how = self._dice.choice(["refused", "unanswered", "cut"]) if failing else "passed"
            self.counts[how] += 1
        body = self._body_of(caller)
        if how == "refused":
            caller.send_response(503)
            caller.send_header("content-length", "0")
            caller.end_headers()
            return
        there = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
        try:
            headers = {k: v for k, v in caller.headers.items() if k.lower() not in HOPS}
            there.request(caller.command, caller.path, body, headers)
            reply = there.getresponse()
            data = reply.read()
        except OSError:  # the store itself is not up yet
            caller.send_response(502)
            caller.send_header("content-length", "0")
            caller.end_headers()
            return
        finally:
            there.close()
        # An answer without a body cannot break off half way: it does not come at all.
        if how == "unanswered" or (how == "cut" and (not data or caller.command == "HEAD")):
            caller.close_connection = True
            return
        caller.send_response(reply.status)
        for name, value in reply.getheaders():
            if name.lower() not in HOPS:
                caller.send_header(name, value)
        length = reply.getheader("content-length") if caller.command == "HEAD" else None
        caller.send_header("content-length", length or str(len(data)))
        caller.end_headers()
        if caller.command == "HEAD":
            return
        if how == "cut":
            caller.wfile.write(data[: len(data) // 2])
            caller.close_connection = True
        else:
            caller.wfile.write(data)

    @staticmethod
    def _body_of(caller: BaseHTTPRequestHandler) -> bytes:
        if caller.headers.get("transfer-encoding", "").lower() != "chunked":
            return caller.rfile.read(int(caller.headers.get("content-length") or 0))
        body = b""
        while (size := int(caller.rfile.readline().split(b";")[0], 16)) > 0:
            body += caller.rfile.read(size)
            caller.rfile.readline()
        caller.rfile.readline()
        return body

    def _make_bucket(self) -> None:
        end = time.monotonic() + 60
        while True:
            try:
                self.client().create_bucket(Bucket=BUCKET)  # type: ignore[attr-defined]
                return
            except Exception:
                if time.monotonic() > end:
                    raise
                time.sleep(0.3)

    def keys(self) -> set[str]:
        """Return the keys of all objects, without failures."""
        share, self.share = self.share, 0.0
        pages = self.client().get_paginator("list_objects_v2").paginate(Bucket=BUCKET)  # type: ignore[attr-defined]
        found = {one["Key"] for page in pages for one in page.get("Contents", [])}
        self.share = share
        return found

    def close(self) -> None:
        """Stop proxy and server."""
        self._server.shutdown()
        self._server.server_close()
        self._moto.terminate()
        self._moto.wait(20)
