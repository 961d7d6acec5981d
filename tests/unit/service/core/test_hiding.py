"""A process that hides is closed to others of its user (proc(5), ptrace(2): access mode checks)."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

import service.core.hiding as hiding

ROOT = Path(hiding.__file__).parents[2]
pytestmark = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="reads /proc")
NOBODY = (  # root, too, is then like any user
    "import ctypes, sys; from workers.video.hardening import _drop_capabilities; "
    "_drop_capabilities(ctypes.CDLL(None, use_errno=True), 0); "
)
HIDES = "from service.core.hiding import hide_from_others; hide_from_others(); "
LOOKS = "print(b'canary' in open(f'/proc/{sys.argv[1]}/environ', 'rb').read())"


def looked_at(first: str) -> str:
    """Return what a neighbour without capabilities finds out about a process."""
    with subprocess.Popen(
        [
            sys.executable,
            "-c",
            NOBODY + first + "print(1, flush=True); import time; time.sleep(60)",
        ],
        stdout=subprocess.PIPE,
        env={"SECRET": "canary"},
        cwd=ROOT,
    ) as process:
        try:
            assert process.stdout is not None
            assert process.stdout.readline() == b"1\n"
            done = subprocess.run(
                [sys.executable, "-c", NOBODY + LOOKS, str(process.pid)],
                capture_output=True,
                cwd=ROOT,
                check=False,
                timeout=60,
            )
            return (done.stdout + done.stderr).decode()
        finally:
            process.kill()


def test_the_environment_of_a_process_that_hides_cannot_be_read() -> None:
    assert "True" in looked_at("")
    assert "PermissionError" in looked_at(HIDES)
