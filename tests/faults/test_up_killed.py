"""``servewright up`` killed without warning leaves no process and starts again on its data."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from tests.faults.conftest import alive, descendants, until
from workers.processes import tether

pytestmark = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="reads /proc")


def start(data: Path, log: Path) -> subprocess.Popen[bytes]:
    """Start an embedded service and wait until it says that it is ready."""
    command = tether.module("workers.cli", "up", "--port", "0", "-n", "1")
    kept = {name: value for name, value in os.environ.items() if "SERVEWRIGHT_" not in name}
    with log.open("wb") as output:
        process = tether.spawn(
            [*command, "--data-dir", str(data)],
            environment=kept | {"PYTHONUNBUFFERED": "1"},
            output=output.fileno(),
        )
    until(lambda: "is ready" in log.read_text() or process.poll() is not None, 120, "the service")
    assert process.poll() is None, log.read_text()
    return process


def test_nothing_is_left_and_the_data_is_kept(tmp_path: Path) -> None:
    data, log = tmp_path / "data", tmp_path / "log"
    first = start(data, log)
    assert "the first admin key is in" in log.read_text()
    assert "sw_" not in log.read_text()
    second = subprocess.run(
        tether.module("workers.cli", "up", "--data-dir", str(data)),
        capture_output=True,
        text=True,
        check=False,
    )
    assert second.returncode == 2
    assert "already running" in second.stderr

    until(lambda: len(descendants(first.pid)) >= 4, 30, "API, Valkey, supervisor and worker")
    family = descendants(first.pid)
    os.kill(first.pid, signal.SIGKILL)
    first.wait()
    until(lambda: not any(map(alive, family)), 15, "the whole family to be gone")

    again = start(data, log)
    try:
        assert "the first admin key" not in log.read_text()  # made once, and never again
        family = descendants(again.pid)
    finally:
        again.send_signal(signal.SIGINT)  # Ctrl-C
        code = again.wait(30)
    assert code == 0
    assert not any(map(alive, family))
