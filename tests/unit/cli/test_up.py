"""What ``servewright up`` refuses before it starts anything."""

from __future__ import annotations

import socket
from pathlib import Path

from tests.unit.cli.conftest import Invoke
from workers.cli.console import Exit
from workers.cli.up import alone


def test_a_taken_port_is_not_mistaken_for_our_own_service(invoke: Invoke, tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        shown = invoke("up", "--data-dir", str(tmp_path / "new"), "--port", str(port))
    assert shown.exit_code == Exit.USAGE
    assert str(port) in shown.stderr
    assert not (tmp_path / "new").exists()  # no key was made and shown in vain


def test_a_data_folder_that_cannot_be_one_is_named(invoke: Invoke, tmp_path: Path) -> None:
    (tmp_path / "plain").write_text("a file where a folder should be")
    shown = invoke("up", "--data-dir", str(tmp_path / "plain"), "--port", "0")
    assert shown.exit_code == Exit.USAGE
    assert "plain" in shown.stderr


def test_one_service_a_data_folder(invoke: Invoke, tmp_path: Path) -> None:
    with alone(tmp_path / "data"):
        assert (tmp_path / "data").stat().st_mode & 0o077 == 0  # films and secrets
        shown = invoke("up", "--data-dir", str(tmp_path / "data"), "--port", "0")
    assert shown.exit_code == Exit.USAGE
    assert "already running" in shown.stderr
