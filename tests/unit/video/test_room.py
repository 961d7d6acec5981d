"""What doctor tells of a decoder's walls, against what the kernel says of itself."""

from __future__ import annotations

import ctypes
import json
import os
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from workers.cli import doctor
from workers.video import room
from workers.video.file_wall import version
from workers.video.hardening import Walls


def test_the_walls_told_are_those_of_the_kernel() -> None:
    """Actions that the kernel knows: seccomp(2), /proc/sys/kernel/seccomp."""
    walls = room.walls_here()
    assert walls.calls == Path("/proc/sys/kernel/seccomp/actions_avail").exists()
    assert walls.files == version(ctypes.CDLL(None, use_errno=True))


@pytest.mark.parametrize(
    ("walls", "good", "told"),
    [
        (Walls(True, 7), True, "Landlock 7"),
        (Walls(True, 0), False, "OPEN: reading all files"),
        (Walls(False, 7), False, "OPEN: the network but TCP"),
        (Walls(False, 2), False, "OPEN: truncating files"),
        (Walls(False, 0), False, "OPEN: signals"),
    ],
)
def test_a_missing_wall_is_told(
    walls: Walls, good: bool, told: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(room, "walls_here", lambda: walls)
    found = doctor.decoder_room()
    assert found.good is good
    assert told in found.detail
    assert bool(found.advice) is not good
    assert not found.required


TRIES = """
import json, os, socket, sys
import workers.video.file_wall as wall
import workers.video.hardening as hardening
from workers.video.limits import DecodeLimits
version, calls, film, other, port, parent, abstract = json.loads(sys.argv[1])
wall.version = lambda libc: version
if not calls:
    hardening.filter_calls = lambda libc: False
hardening.harden(DecodeLimits(), parent, os.open(film, os.O_RDONLY))

def reached(what):
    try:
        what()
    except OSError:
        return False
    return True

def call(family, address):
    with socket.socket(family, socket.SOCK_STREAM) as caller:
        caller.connect(address)

os.write(1, json.dumps({
    "reading": reached(lambda: os.close(os.open(other, os.O_RDONLY))),
    "truncating": reached(lambda: os.truncate(other, 3)),
    "tcp": reached(lambda: call(socket.AF_INET, ("127.0.0.1", port))),
    "signals": reached(lambda: os.kill(parent, 0)),
    "abstract": reached(lambda: call(socket.AF_UNIX, abstract)),
}).encode())
"""


@pytest.mark.parametrize("calls", [True, False])
@pytest.mark.parametrize("files", [0, 1, 3, 4, 6])
def test_what_is_told_to_be_open_is_open_and_nothing_else(
    files: int, calls: bool, tmp_path: Path
) -> None:
    """With the walls of weaker kernels, as far as this one has them."""
    if files > version(ctypes.CDLL(None, use_errno=True)):
        pytest.skip("this kernel knows no such version")
    film, other = tmp_path / "film", tmp_path / "other"
    film.write_bytes(b"film")
    other.write_bytes(b"another film")
    name = f"\0servewright-test-{os.getpid()}"
    with socket.create_server(("127.0.0.1", 0)) as tcp, socket.socket(socket.AF_UNIX) as abstract:
        abstract.bind(name)
        abstract.listen()
        port = tcp.getsockname()[1]
        given = json.dumps([files, calls, str(film), str(other), port, os.getpid(), name])
        done = subprocess.run(
            [sys.executable, "-c", TRIES, given], capture_output=True, timeout=60, check=False
        )
    assert done.returncode == 0, done.stderr.decode()
    reached = json.loads(done.stdout)
    told = room.left_open(Walls(calls, files))
    assert reached == {
        "reading": any("reading" in one for one in told),
        "truncating": any("truncating" in one or "removing" in one for one in told),
        "tcp": "the network" in told,
        "signals": any("signals" in one for one in told),
        "abstract": any("abstract" in one for one in told),
    }
