"""What a process behind the walls can no longer do: tried in a process of its own."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

import workers.video.hardening as hardening

TRIALS = """
import ctypes, json, os, socket, sys, threading
from pathlib import Path
from workers.video.hardening import harden
from workers.video.limits import DecodeLimits

folder = Path(sys.argv[1])
kept = folder / "kept.txt"
confined = harden(DecodeLimits(memory_bytes=600 << 20), os.getppid())
result = {"confined": confined}

def attempt(name, action):
    try:
        action()
        result[name] = "done"
    except OSError as error:
        result[name] = error.errno
    except (MemoryError, RuntimeError) as error:
        result[name] = type(error).__name__

def thread():
    t = threading.Thread(target=lambda: None)
    t.start()
    t.join()

attempt("socket", lambda: socket.socket(socket.AF_INET, socket.SOCK_STREAM))
attempt("unix_socket", lambda: socket.socket(socket.AF_UNIX))
attempt("fork", os.fork)
attempt("exec", lambda: os.execv("/bin/true", ["true"]))
attempt("spawn", lambda: os.posix_spawn("/bin/true", ["true"], {}))
attempt("truncate", lambda: open(kept, "r+").truncate(0))
attempt("overwrite", lambda: open(kept, "w"))
attempt("create", lambda: open(folder / "new.txt", "w"))
attempt("delete", kept.unlink)
attempt("rename", lambda: kept.rename(folder / "other"))
attempt("signal", lambda: os.kill(os.getppid(), 0))
attempt("read", kept.read_text)
attempt("thread", thread)
attempt("memory", lambda: bytearray(700 << 20))
print(json.dumps(result))
"""

EPERM, EACCES = 1, 13


@pytest.fixture(scope="module")
def tried(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    folder = tmp_path_factory.mktemp("walls")
    (folder / "kept.txt").write_text("still here")
    root = Path(hardening.__file__).parents[2]
    done = subprocess.run(
        [sys.executable, "-c", TRIALS, str(folder)],
        capture_output=True, cwd=root, check=True, timeout=60,
    )  # fmt: skip
    assert (folder / "kept.txt").read_text() == "still here"
    assert sorted(path.name for path in folder.iterdir()) == ["kept.txt"]
    return dict(json.loads(done.stdout))


def test_system_calls_are_filtered(tried: dict[str, Any]) -> None:
    assert tried["confined"] is True


@pytest.mark.parametrize(
    "name", ["socket", "unix_socket", "fork", "exec", "spawn", "delete", "rename", "signal"]
)
def test_network_processes_and_names_are_out_of_reach(name: str, tried: dict[str, Any]) -> None:
    assert tried[name] == EPERM


@pytest.mark.parametrize("name", ["truncate", "overwrite", "create"])
def test_no_file_can_be_written(name: str, tried: dict[str, Any]) -> None:
    assert tried[name] == EACCES


def test_reading_and_threads_still_work(tried: dict[str, Any]) -> None:
    assert (tried["read"], tried["thread"]) == ("done", "done")


def test_memory_is_limited(tried: dict[str, Any]) -> None:
    assert tried["memory"] == "MemoryError"


def test_a_process_whose_parent_is_gone_ends_at_once() -> None:
    code = (
        "import os; from workers.video.hardening import harden; "
        "from workers.video.limits import DecodeLimits; harden(DecodeLimits(), 1 << 22); print(1)"
    )
    root = Path(hardening.__file__).parents[2]
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, cwd=root, check=False, timeout=60
    )
    assert done.returncode == 1
    assert done.stdout == b""
    assert b"parent is gone" in done.stderr
