"""``servewright api``: the API alone, in place of the command itself."""

from __future__ import annotations

import os
import socket

import pytest

from tests.unit.cli.conftest import Invoke
from workers.cli.console import Exit


def test_it_becomes_the_server(invoke: Invoke, monkeypatch: pytest.MonkeyPatch) -> None:
    became: list[list[str]] = []
    monkeypatch.setattr(os, "execv", lambda _path, command: became.append(command))
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    assert invoke("api", "--port", str(port)).exit_code == Exit.DONE
    (command,) = became
    assert command[1:] == ["-P", "-m", "service.api.server"], "no folder of the caller comes first"
    assert os.environ["SERVEWRIGHT_PORT"] == str(port)


def test_a_taken_port_is_named(invoke: Invoke) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        shown = invoke("api", "--port", str(port))
    assert shown.exit_code == Exit.USAGE
    assert str(port) in shown.stderr
