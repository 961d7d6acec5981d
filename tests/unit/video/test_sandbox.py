"""The decoder process: its walls, its deaths, and that nothing is left behind.

Process states are read from /proc (proc(5)), not from what the program says of itself.
"""

from __future__ import annotations

import gc
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

import workers.video.sandbox as sandbox
from models.contract.errors import (
    ClipDamaged,
    DecodeLimitExceeded,
    DecoderStopped,
    Internal,
    ServewrightError,
)
from tests.unit.video.filming import shoot
from workers.video import ClipStream, DecodeLimits, open_clip
from workers.video.limits import MIB, RING_SLOTS


@pytest.fixture(scope="module")
def film(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return shoot(tmp_path_factory.mktemp("film") / "film.mp4")


def pid_of(clip: ClipStream) -> int:
    return clip._process.pid


def alive(pid: int) -> bool:
    """Whether a process runs (a zombie does not)."""
    try:
        state = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0]
    except (FileNotFoundError, ProcessLookupError):
        return False
    return state not in "ZX"


def wait_until(condition: Callable[[], bool]) -> bool:
    for _ in range(400):
        if condition():
            return True
        time.sleep(0.025)
    return False


def status(pid: int) -> dict[str, str]:
    lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    return {key: value.strip() for key, value in (line.split(":", 1) for line in lines)}


def test_the_walls_stand(film: Path) -> None:
    limits = DecodeLimits(cpu_s=77, memory_bytes=900 * MIB, open_files=48)
    with open_clip(film, limits) as clip:
        pid = pid_of(clip)
        in_force = Path(f"/proc/{pid}/limits").read_text()
        found = status(pid)
    rows = {line[:26].strip(): line[26:].split()[:2] for line in in_force.splitlines()[1:]}
    assert rows["Max address space"] == [str(900 * MIB)] * 2
    assert rows["Max cpu time"] == ["77", "82"]
    assert rows["Max open files"] == ["48", "48"]
    assert rows["Max file size"] == ["0", "0"]
    assert rows["Max core file size"] == ["0", "0"]
    assert found["NoNewPrivs"] == "1"
    assert found["Seccomp"] == "2"
    assert int(found["PPid"]) == os.getpid()


def test_it_inherits_no_secrets_and_no_other_files(
    film: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("SECRET_OF_THE_WORKER", "canary")
    descriptor = os.open(tmp_path, os.O_RDONLY)
    os.set_inheritable(descriptor, True)
    try:
        with open_clip(film) as clip:
            pid = pid_of(clip)
            environment = Path(f"/proc/{pid}/environ").read_bytes()
            files = {os.readlink(entry) for entry in Path(f"/proc/{pid}/fd").iterdir()}
    finally:
        os.close(descriptor)
    assert b"OPENBLAS_NUM_THREADS" in environment
    assert b"canary" not in environment
    assert str(film) in files
    assert str(tmp_path) not in files


def test_it_is_a_fresh_interpreter(film: Path) -> None:
    with open_clip(film) as clip:
        command = Path(f"/proc/{pid_of(clip)}/cmdline").read_bytes().split(b"\0")
        maps = Path(f"/proc/{pid_of(clip)}/maps").read_text()
    assert command[1] == b"-I"
    assert "pydantic" not in maps, "started without what it does not need"


@pytest.mark.parametrize(
    ("number", "error"),
    [
        (signal.SIGKILL, DecoderStopped),  # what the kernel sends when memory runs out
        (signal.SIGTERM, DecoderStopped),  # what whoever stops processes sends
        (signal.SIGXCPU, DecodeLimitExceeded),  # what RLIMIT_CPU sends
        (signal.SIGSEGV, ClipDamaged),
        (signal.SIGABRT, ClipDamaged),
    ],
)
def test_its_death_is_an_error_of_the_clip_unless_others_brought_it(
    film: Path, number: signal.Signals, error: type[ServewrightError]
) -> None:
    with open_clip(film) as clip:
        frames = iter(clip)
        next(frames)
        os.kill(pid_of(clip), number)
        seen: list[int] = []
        with pytest.raises(error):
            seen.extend(frame.index for frame in frames)
        assert len(seen) <= RING_SLOTS
        assert not alive(pid_of(clip))
    with open_clip(film) as clip:
        assert sum(1 for _ in clip) == 30, "the next film is read as ever"


def test_a_decoder_that_hangs_is_stopped(film: Path) -> None:
    with open_clip(film) as clip:
        frames = iter(clip)
        next(frames)
        clip._process._limits = DecodeLimits(stall_s=0.2)
        os.kill(pid_of(clip), signal.SIGSTOP)
        with pytest.raises(DecodeLimitExceeded, match="no answer"):
            list(frames)
        assert not alive(pid_of(clip))


def test_a_slow_consumer_does_not_use_up_the_time(film: Path) -> None:
    with open_clip(film, DecodeLimits(wall_s=60)) as clip:
        frames = iter(clip)
        next(frames)
        waited = clip._process._waited_s
        time.sleep(0.2)
        next(frames)
        assert clip._process._waited_s - waited < 0.2
        assert sum(1 for _ in frames) == 28


def test_the_wait_in_total_is_limited(film: Path) -> None:
    with open_clip(film) as clip:
        frames = iter(clip)
        next(frames)
        clip._process._waited_s = DecodeLimits().wall_s
        with pytest.raises(DecodeLimitExceeded):
            next(frames)


BURN = """
import sys, os
from workers.video.hardening import harden
from workers.video.limits import DecodeLimits
harden(DecodeLimits(cpu_s=1), os.getppid())
while True:
    pass
"""


def test_cpu_time_is_limited(film: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    boot = f"import sys, json; sys.path[:] = json.loads(sys.argv[1])\n{BURN}"
    monkeypatch.setattr(sandbox, "_BOOT", boot)
    with pytest.raises(DecodeLimitExceeded):
        open_clip(film)


def stop_by_error(clip: ClipStream) -> None:
    with clip:
        for frame in clip:
            1 / frame.index


def shared_memory() -> set[str]:
    """Return the names of shared memory but a browser's, which other tests run meanwhile."""
    return {name for name in os.listdir("/dev/shm") if not name.startswith(".org.chromium.")}


@pytest.mark.parametrize("way", ["close", "context", "break", "forget", "error"])
def test_nothing_is_left_behind(film: Path, way: str) -> None:
    shared = shared_memory()
    gc.collect()
    files = len(os.listdir("/proc/self/fd"))
    pids = []
    for _ in range(3):
        clip = open_clip(film)
        pids.append(pid_of(clip))
        if way == "close":
            clip.close()
            clip.close()
        elif way == "context":
            with clip:
                assert sum(1 for _ in clip) == 30
        elif way == "break":
            with clip:
                for frame in clip:
                    if frame.index == 5:
                        break
            del frame  # a view keeps its memory
        elif way == "error":
            with pytest.raises(ZeroDivisionError):
                stop_by_error(clip)
        del clip
        gc.collect()
    assert not any(Path(f"/proc/{pid}").exists() for pid in pids), "ended and reaped"
    assert len(os.listdir("/proc/self/fd")) == files
    assert shared_memory() == shared


PARENT = """
import sys, time
from pathlib import Path
from workers.video import open_clip
clip = open_clip(Path(sys.argv[1]))
if sys.argv[2] == "reading":
    frames = iter(clip)
    next(frames)
print(clip._process.pid, flush=True)
time.sleep(600)
"""


@pytest.mark.parametrize("state", ["opened", "reading"])
def test_it_dies_with_a_killed_parent(film: Path, state: str) -> None:
    root = Path(sandbox.__file__).parents[2]
    with subprocess.Popen(
        [sys.executable, "-c", PARENT, str(film), state], stdout=subprocess.PIPE, cwd=root
    ) as parent:
        assert parent.stdout is not None
        pid = int(parent.stdout.readline())
        assert alive(pid)
        parent.kill()
    assert wait_until(lambda: not alive(pid))


def test_an_interpreter_that_cannot_start_is_our_fault_not_the_clips(
    film: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(sandbox, "_BOOT", "raise SystemExit('no such library')")
    with pytest.raises(Internal) as caught:
        open_clip(film)
    assert "no such library" in caplog.text  # for the operator, not for the caller
    assert "no such library" not in caught.value.detail


READY = {"kind": "ready", "confined": True}
FACTS = {
    "kind": "facts", "container": "mov", "codec": "h264", "pixel_format": "yuv420p", "hdr": None,
    "frame_rate": 30.0, "frame_rate_variable": False, "duration_s": 1.0, "frames_readable": 30,
    "frames_stated": 30, "rotation_deg": 0, "width": 64, "height": 48, "tags": {},
}  # fmt: skip
FRAME = {"kind": "frame", "index": 0, "slot": 0, "time_s": 0.0}


@pytest.mark.parametrize(
    "messages",
    [
        [READY, "not json"],
        [READY, ["a", "list"]],
        [READY, {"kind": "end", "gaps": []}],
        [READY, FACTS | {"width": 10**6, "height": 10**6}],
        [READY, FACTS | {"width": -64}],
        [READY, FACTS | {"width": "64"}],
        [READY, FACTS | {"frame_rate": 0.0}],
        [READY, FACTS | {"frame_rate": "NaN"}],
        [READY, FACTS | {"tags": None}],
        [READY, FACTS | {"tags": "abc"}],
        [READY, FACTS | {"tags": {"com.android.capture.fps": None}}],
        [READY, FACTS, FRAME | {"slot": 3}],
        [READY, FACTS, FRAME | {"slot": -1}],
        [READY, FACTS, FRAME | {"time_s": "soon"}],
        [READY, FACTS, FRAME | {"index": None}],
        [READY, FACTS, FRAME, FRAME | {"slot": 1}],
        [READY, FACTS, FRAME],
    ],
)
def test_a_taken_over_decoder_is_not_believed(
    messages: list[object], film: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Stands in for a film that has taken over the decoder: it says what it likes."""
    texts = [m if isinstance(m, str) else json.dumps(m) for m in messages]
    monkeypatch.setattr(
        sandbox,
        "_BOOT",
        "import socket, sys; link = socket.socket(fileno=int(sys.argv[2]))\n"
        f"for text in {texts!r}: link.send(text.encode())\n"
        "link.recv(1); link.shutdown(socket.SHUT_WR); link.settimeout(0.2); link.recv(9)",
    )
    with pytest.raises(ClipDamaged), open_clip(film, DecodeLimits(stall_s=20)) as clip:
        for _ in clip:
            pass
