"""The WebSocket of a hold watched live: who may, how much, and what it says; the page."""

from __future__ import annotations

import json
import socketserver
import threading
from collections.abc import Callable, Iterator
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient
from starlette.websockets import WebSocketDisconnect

from models.contract.live import LARGEST_FRAME
from service.api.app import create_app
from service.api.live_hold import ADDRESS, HEAD
from service.core.principal import Scope
from service.core.settings import Settings

PICTURE = b"\xff\xd8 a picture \xff\xd9"


class Watching(socketserver.StreamRequestHandler):
    """Answers each picture with its length: no network looks at it here."""

    def handle(self) -> None:
        opening = json.loads(self.rfile.readline())
        assert not opening["key"]  # the key stays with the API
        self.wfile.write(b'{"reading":false}\n')
        while len(head := self.rfile.read(HEAD.size)) == HEAD.size:
            _, length = HEAD.unpack(head)
            self.rfile.read(length)
            self.wfile.write(json.dumps({"reading": True, "held_s": length}).encode() + b"\n")


@pytest.fixture
def live(settings: Settings) -> Iterator[FastAPI]:
    app = create_app(settings.model_copy(update={"live_hold": True}))
    path = app.state.wiring.settings.live_hold_socket
    path.parent.mkdir(parents=True, exist_ok=True)
    server = socketserver.ThreadingUnixStreamServer(str(path), Watching)
    server.daemon_threads = True
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield app
    server.shutdown()
    server.server_close()
    app.state.wiring.close()


@pytest.fixture
def caller(live: FastAPI) -> Iterator[TestClient]:
    with TestClient(live) as client:
        yield client


@pytest.fixture
def opening(live: FastAPI) -> dict[str, Any]:
    return {"key": live.state.wiring.keys.add("coach"), "handedness": "left", "goal": 0.55}


def closed(client: TestClient, first: Any, *pictures: bytes) -> tuple[int, str]:
    """Send things and return how the connection was closed."""
    with client.websocket_connect(ADDRESS) as socket:
        socket.send_text(first if isinstance(first, str) else json.dumps(first))
        for picture in pictures:
            socket.send_bytes(picture)
        try:
            while True:
                socket.receive_text()
        except WebSocketDisconnect as ended:
            return ended.code, ended.reason


def test_pictures_are_answered_one_by_one(caller: TestClient, opening: dict[str, Any]) -> None:
    with caller.websocket_connect(ADDRESS) as socket:
        socket.send_text(json.dumps(opening))
        assert socket.receive_json() == {"reading": False}
        for _ in range(3):
            socket.send_bytes(PICTURE)
            assert socket.receive_json() == {"reading": True, "held_s": len(PICTURE)}


@pytest.mark.parametrize(
    ("first", "code", "reason"),
    [
        ({"key": "sw_nobody"}, 1008, "unauthenticated"),
        ({}, 1008, "unauthenticated"),
        ({"key": "x", "goal": 2.0}, 1008, "invalid_request"),
        ("no JSON", 1008, "invalid_request"),
    ],
)
def test_strangers_and_nonsense_are_closed(
    caller: TestClient, first: Any, code: int, reason: str
) -> None:
    assert closed(caller, first) == (code, reason)


def test_a_key_needs_the_scope(live: FastAPI, caller: TestClient, opening: dict[str, Any]) -> None:
    reader = live.state.wiring.keys.add("reader", scopes=[Scope.RESULTS_READ])
    assert closed(caller, opening | {"key": reader}) == (1008, "forbidden")


def test_large_pictures_and_too_many_end_it(caller: TestClient, opening: dict[str, Any]) -> None:
    large = b"x" * (LARGEST_FRAME + 1)
    assert closed(caller, opening, large) == (1009, "payload_too_large")
    assert closed(caller, opening, *[PICTURE] * 400) == (1008, "rate_limited")


def test_without_the_process_that_looks_it_says_so(
    settings: Settings, opening: Callable[..., Any]
) -> None:
    elsewhere = settings.data_dir / "elsewhere"
    app = create_app(settings.model_copy(update={"live_hold": True}))
    object.__setattr__(app.state.wiring.settings, "data_dir", elsewhere)
    with TestClient(app) as client:
        assert closed(client, opening) == (1013, "not_running")
    app.state.wiring.close()


def test_the_page_asks_for_the_camera_and_nothing_of_others(caller: TestClient) -> None:
    page: httpx.Response = caller.get("/hold")
    assert page.status_code == 200
    policy = page.headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "unsafe-inline" not in policy.split("script-src")[1].split(";")[0]
    assert "camera=(self)" in page.headers["permissions-policy"]
    assert "no medical advice" in page.text.lower() or "medical" in page.text.lower()
    assert caller.get("/hold/hold.js").headers["content-type"].startswith("text/javascript")


def test_it_is_off_unless_switched_on(anonymous: httpx.Client) -> None:
    assert anonymous.get("/hold").status_code == 404
