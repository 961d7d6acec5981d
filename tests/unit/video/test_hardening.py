"""What a process behind the walls can no longer do: tried in a process of its own, which stands
where the decoder does. What the kernel at hand lacks is asked of the kernel, and skipped.
"""

from __future__ import annotations

import ctypes
import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

import workers.video.hardening as hardening
from workers.video.file_wall import version

ROOT = Path(hardening.__file__).parents[2]
LANDLOCK = version(ctypes.CDLL(None, use_errno=True))

TRIALS = """
import ctypes, json, mmap, os, signal, socket, sys, threading
from pathlib import Path
from workers.video.hardening import harden
from workers.video.limits import DecodeLimits

folder, film = Path(sys.argv[1]), int(sys.argv[2])
kept, parent = folder / "kept.txt", os.getppid()
walls = harden(DecodeLimits(memory_bytes=600 << 20), parent, film)
result = {"calls": walls.calls, "files": walls.files}
libc = ctypes.CDLL(None, use_errno=True)

def attempt(name, action):
    try:
        action()
        result[name] = "done"
    except OSError as error:
        result[name] = error.errno
    except (MemoryError, RuntimeError) as error:
        result[name] = type(error).__name__

def call(number, *arguments):
    if libc.syscall(number, *arguments) < 0:
        raise OSError(ctypes.get_errno(), "refused")

def thread():
    t = threading.Thread(target=lambda: None)
    t.start()
    t.join()

def read(path):
    return lambda: os.read(os.open(path, os.O_RDONLY), 100)

attempt("socket", lambda: socket.socket(socket.AF_INET, socket.SOCK_STREAM))
attempt("unix_socket", lambda: socket.socket(socket.AF_UNIX))
attempt("raw_socket", lambda: socket.socket(socket.AF_PACKET, socket.SOCK_RAW))
attempt("socketpair", socket.socketpair)
attempt("fork", os.fork)
attempt("exec", lambda: os.execv("/bin/true", ["true"]))
attempt("spawn", lambda: os.posix_spawn("/bin/true", ["true"], {}))
attempt("signal", lambda: os.kill(parent, 0))
attempt("pidfd", lambda: os.pidfd_open(parent))
attempt("ptrace", lambda: call(101, 16, parent, 0, 0))
attempt("memory_of_parent", lambda: call(310, parent, None, 0, None, 0, 0))
attempt("namespaces", lambda: call(272, 0x10000000))
attempt("mount", lambda: call(165, b"none", b"/tmp", b"tmpfs", 0, None))
attempt("bpf", lambda: call(321, 0, None, 0))
attempt("io_uring", lambda: call(425, 1, None))
attempt("keyring", lambda: call(250, 0, 0, 0))
attempt("anonymous_file", lambda: os.memfd_create("x"))
attempt("priority", lambda: os.setpriority(os.PRIO_PROCESS, parent, 5))
attempt("limits_of_parent", lambda: call(302, parent, 7, None, None))
attempt("root", lambda: os.setuid(0))
attempt("folder", lambda: os.chdir("/"))
attempt("executable", lambda: mmap.mmap(-1, 4096, prot=mmap.PROT_READ | mmap.PROT_EXEC))
attempt("truncate", lambda: open(kept, "r+").truncate(0))
attempt("overwrite", lambda: open(kept, "w"))
attempt("create", lambda: open(folder / "new.txt", "w"))
attempt("delete", kept.unlink)
attempt("rename", lambda: kept.rename(folder / "other"))
attempt("environment", read(f"/proc/{parent}/environ"))
attempt("command_line", read(f"/proc/{parent}/cmdline"))
attempt("parent_s_files", lambda: os.listdir(f"/proc/{parent}/fd"))
attempt("memory_file", read(f"/proc/{parent}/mem"))
attempt("other_film", read(kept))
attempt("passwords", read("/etc/shadow"))
attempt("users", read("/etc/passwd"))
attempt("host", read("/etc/hostname"))
attempt("device", read("/dev/urandom"))
attempt("program", read(sys.executable))
attempt("listing", lambda: os.listdir("/"))
attempt("film", read(f"/proc/self/fd/{film}"))
attempt("thread", thread)
attempt("itself", lambda: os.kill(os.getpid(), 0))
attempt("memory", lambda: bytearray(700 << 20))
print(json.dumps(result))
"""

EPERM, EACCES = 1, 13


@pytest.fixture(scope="module")
def tried(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    folder = tmp_path_factory.mktemp("walls")
    (folder / "kept.txt").write_text("still here")
    (folder / "film.mp4").write_bytes(b"the film")
    film = os.open(folder / "film.mp4", os.O_RDONLY)
    try:
        done = subprocess.run(
            [sys.executable, "-c", TRIALS, str(folder), str(film)],
            capture_output=True, cwd=ROOT, check=True, timeout=60, pass_fds=(film,),
        )  # fmt: skip
    finally:
        os.close(film)
    assert (folder / "kept.txt").read_text() == "still here"
    assert sorted(path.name for path in folder.iterdir()) == ["film.mp4", "kept.txt"]
    return dict(json.loads(done.stdout))


def test_both_walls_stand_where_the_kernel_has_them(tried: dict[str, Any]) -> None:
    assert tried["calls"] is True
    assert tried["files"] == LANDLOCK


PROCESSES = ["fork", "exec", "spawn", "signal", "pidfd", "ptrace", "memory_of_parent", "priority"]
NETWORK = ["socket", "unix_socket", "raw_socket", "socketpair"]
KERNEL = [
    "namespaces",
    "mount",
    "bpf",
    "io_uring",
    "keyring",
    "anonymous_file",
    "limits_of_parent",
    "root",
    "folder",
]


@pytest.mark.parametrize("name", [*PROCESSES, *NETWORK, *KERNEL, "delete", "rename"])
def test_network_processes_and_the_rest_of_the_kernel_are_out_of_reach(
    name: str, tried: dict[str, Any]
) -> None:
    assert tried[name] == EPERM


@pytest.mark.parametrize("name", ["truncate", "overwrite", "create", "executable"])
def test_no_file_can_be_written_and_nothing_run(name: str, tried: dict[str, Any]) -> None:
    assert tried[name] == EACCES


@pytest.mark.skipif(not LANDLOCK, reason="this kernel has no Landlock")
@pytest.mark.parametrize(
    "name",
    [
        "environment",
        "command_line",
        "memory_file",
        "other_film",
        "passwords",
        "users",
        "host",
        "device",
        "program",
    ],
)
def test_no_file_but_the_film_can_be_read(name: str, tried: dict[str, Any]) -> None:
    assert tried[name] == EACCES


@pytest.mark.parametrize("name", ["listing", "parent_s_files"])
def test_no_folder_can_be_listed(name: str, tried: dict[str, Any]) -> None:
    assert tried[name] in (EPERM, EACCES)


def test_the_film_and_threads_still_work(tried: dict[str, Any]) -> None:
    assert (tried["film"], tried["thread"], tried["itself"]) == ("done", "done", "done")


def test_memory_is_limited(tried: dict[str, Any]) -> None:
    assert tried["memory"] == "MemoryError"


def test_it_has_no_capability_left() -> None:
    """capabilities(7): all sets empty, also for root."""
    code = (
        "import os; from workers.video.hardening import _drop_capabilities; import ctypes; "
        "_drop_capabilities(ctypes.CDLL(None, use_errno=True), 0); "
        "print(open('/proc/self/status').read())"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, cwd=ROOT, check=True, timeout=60
    )
    sets = dict(line.split(":", 1) for line in done.stdout.decode().splitlines() if ":" in line)
    assert {name: int(sets[name], 16) for name in ("CapInh", "CapPrm", "CapEff")} == {
        "CapInh": 0,
        "CapPrm": 0,
        "CapEff": 0,
    }


def test_walls_are_not_put_up_beside_running_threads() -> None:
    code = (
        "import os, threading, time; threading.Thread(target=time.sleep, args=(5,), daemon=True)"
        ".start(); from workers.video.hardening import harden; "
        "from workers.video.limits import DecodeLimits; harden(DecodeLimits(), os.getppid())"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, cwd=ROOT, check=False, timeout=60
    )
    assert done.returncode == 1
    assert b"do not hold for threads" in done.stderr


def test_a_process_whose_parent_is_gone_ends_at_once() -> None:
    code = (
        "import os; from workers.video.hardening import harden; "
        "from workers.video.limits import DecodeLimits; harden(DecodeLimits(), 1 << 22); print(1)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, cwd=ROOT, check=False, timeout=60
    )
    assert done.returncode == 1
    assert done.stdout == b""
    assert b"parent is gone" in done.stderr
