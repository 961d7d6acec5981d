from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from workers.processes import tether

PROJECT = Path(__file__).resolve().parents[3]
SLEEPER = [sys.executable, "-c", "import time; print('up', flush=True); time.sleep(600)"]


def _alive(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"
    except FileNotFoundError:
        return False


def _gone_within(pid: int, seconds: float) -> bool:
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if not _alive(pid):
            return True
        time.sleep(0.05)
    return False


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="reads /proc")
def test_child_dies_when_its_parent_is_killed() -> None:
    code = (
        "import sys; from workers.processes import tether\n"
        f"child = tether.spawn({SLEEPER!r})\n"
        "print(child.pid, flush=True); child.wait()"
    )
    parent = subprocess.Popen(
        [sys.executable, "-c", code], cwd=PROJECT, stdout=subprocess.PIPE, text=True
    )
    assert parent.stdout is not None
    pid = int(parent.stdout.readline())
    assert parent.stdout.readline().strip() == "up"  # the command itself runs, not the wrapper
    assert _alive(pid)
    parent.kill()
    parent.wait()
    parent.stdout.close()
    assert _gone_within(pid, 10)


def test_stop_ends_a_child_that_ignores_sigterm() -> None:
    code = (
        "import signal, time; signal.signal(signal.SIGTERM, signal.SIG_IGN); "
        "print('up', flush=True); time.sleep(600)"
    )
    child = tether.spawn([sys.executable, "-c", code], output=subprocess.PIPE)
    assert child.stdout is not None
    assert child.stdout.readline().strip() == b"up"
    assert tether.stop(child, grace_s=0.2) == -9
    child.stdout.close()


def test_stop_lets_a_polite_child_end_itself() -> None:
    child = tether.spawn(SLEEPER, output=subprocess.PIPE)
    assert child.stdout is not None
    child.stdout.readline()
    assert tether.stop(child, grace_s=20) == -15
    child.stdout.close()


def test_child_whose_parent_has_gone_ends_at_once() -> None:
    not_its_parent = str(os.getpid())
    command = [sys.executable, "-m", "workers.processes.tether", not_its_parent, "--", "true"]
    outer = f"import subprocess, sys; sys.exit(subprocess.call({command!r}))"
    done = subprocess.run([sys.executable, "-c", outer], cwd=PROJECT, check=False)
    assert done.returncode == 1


def test_usage_error() -> None:
    with pytest.raises(SystemExit):
        tether.main(["1"])
