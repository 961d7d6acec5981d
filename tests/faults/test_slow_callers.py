"""The API on its own, without a proxy, before callers that never finish what they begin.

Half-open requests are the attack named Slowloris (2009); RFC 9110, 15.5.9 names the answer 408.
"""

from __future__ import annotations

import selectors
import socket
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack

import httpx
import pytest

from service.core.settings import Settings
from service.core.wiring import Wiring
from tests.faults.conftest import environment_of
from workers.cli.up import free_port
from workers.processes import tether

HALF_OPEN = 300
HALF = b"GET /livez HTTP/1.1\r\nhost: here\r\nx-slow: "
PATIENCE_S = 60.0
"""Longest wait of the test itself."""

Serve = Callable[..., httpx.Client]


@pytest.fixture
def serve(settings: Settings) -> Iterator[Serve]:
    """Return a starter of the API in a process of its own, with settings by name."""
    children = []
    clients = []

    def start(**named: object) -> httpx.Client:
        port = free_port("127.0.0.1")
        more = {f"SERVEWRIGHT_{name.upper()}": str(value) for name, value in named.items()}
        environment = environment_of(settings) | more | {"SERVEWRIGHT_PORT": str(port)}
        children.append(tether.spawn(tether.module("service.api.server"), environment=environment))
        client = httpx.Client(base_url=f"http://127.0.0.1:{port}", trust_env=False, timeout=20)
        clients.append(client)
        end = time.monotonic() + PATIENCE_S
        while time.monotonic() < end:
            try:
                if client.get("/livez").is_success:
                    return client
            except httpx.TransportError:
                time.sleep(0.05)
        pytest.fail("the API does not start")

    yield start
    for client in clients:
        client.close()
    for child in children:
        tether.stop(child, 10.0)


Connect = Callable[[httpx.Client, bytes], socket.socket]


@pytest.fixture
def connect() -> Iterator[Connect]:
    """Return what opens a connection and sends its first bytes."""
    with ExitStack() as stack:

        def begin(client: httpx.Client, first: bytes) -> socket.socket:
            address = ("127.0.0.1", int(client.base_url.port or 0))
            opened = stack.enter_context(socket.create_connection(address, timeout=10))
            opened.sendall(first)
            return opened

        yield begin


def answer_of(opened: socket.socket) -> bytes:
    """Return an answer, headers and the few bytes of its body."""
    found = b""
    while not found.endswith(b"}"):
        found += opened.recv(4096)
    return found


def closed(sockets: list[socket.socket]) -> int:
    """Return how many the other side closes while there is patience."""
    with selectors.DefaultSelector() as selector:
        for one in sockets:
            one.setblocking(False)
            selector.register(one, selectors.EVENT_READ)
        end = time.monotonic() + PATIENCE_S
        count = 0
        while selector.get_map() and time.monotonic() < end:
            for key, _ in selector.select(1.0):
                try:
                    gone = not key.fileobj.recv(4096)  # type: ignore[union-attr]
                except ConnectionResetError:
                    gone = True
                if gone:
                    selector.unregister(key.fileobj)
                    count += 1
        return count


def test_half_open_requests_neither_silence_the_api_nor_stay(
    serve: Serve, connect: Connect
) -> None:
    client = serve(header_timeout_s=4)
    slow = [connect(client, HALF) for _ in range(HALF_OPEN)]
    with httpx.Client(base_url=client.base_url, trust_env=False, timeout=1.0) as other:
        assert other.get("/livez").status_code == 200
    assert closed(slow) == HALF_OPEN


def test_a_drip_of_header_bytes_does_not_keep_a_connection(serve: Serve, connect: Connect) -> None:
    client = serve(header_timeout_s=2)
    slow = connect(client, HALF)
    slow.settimeout(0.3)
    answer = b""
    for _ in range(200):
        try:
            slow.sendall(b"x")
            answer = slow.recv(200)
            break
        except TimeoutError:
            continue
        except (ConnectionResetError, BrokenPipeError):
            break
    else:
        pytest.fail("still open")
    assert answer.startswith(b"HTTP/1.1 408 ") or not answer


def test_a_full_house_makes_room_for_those_who_ask(serve: Serve, connect: Connect) -> None:
    client = serve(header_timeout_s=60, api_connections=20)
    slow = [connect(client, HALF) for _ in range(60)]
    with httpx.Client(base_url=client.base_url, trust_env=False) as other:
        assert other.get("/livez").status_code == 200
    assert closed(slow[:40]) == 40, "those who waited longest went"


def test_a_request_in_pieces_and_a_second_one_are_served(
    serve: Serve, connect: Connect, wiring: Wiring
) -> None:
    client = serve(header_timeout_s=30)
    opened = connect(client, b"GET /livez HT")
    for piece in (b"TP/1.1\r\nho", b"st: here\r\n", b"\r\n"):
        time.sleep(0.05)
        opened.sendall(piece)
    assert answer_of(opened).startswith(b"HTTP/1.1 200 ")
    opened.sendall(b"GET /livez HTTP/1.1\r\nhost: here\r\n\r\n")
    assert answer_of(opened).startswith(b"HTTP/1.1 200 ")
    film = b"\x00\x00\x00\x18ftypisom\x00\x00\x02\x00isomiso2" + bytes(100_000)
    headers = {"authorization": f"Bearer {wiring.keys.add('test')}", "content-type": "video/mp4"}

    def pieces() -> Iterator[bytes]:
        for start in range(0, len(film), 10_000):
            time.sleep(0.02)
            yield film[start : start + 10_000]

    assert client.post("/v1/clips", content=pieces(), headers=headers).status_code == 201
