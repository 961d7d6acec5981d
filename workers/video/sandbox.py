"""Starts, feeds and ends the decoder process of one film.

The child is a fresh interpreter with an almost empty environment (no secrets), inheriting only
three descriptors. Frames come through an anonymous, sealed piece of shared memory that vanishes
with its last user, so that nothing is left behind however either side ends. What the child says is
checked before it is believed: a film may have taken it over.
"""

from __future__ import annotations

import contextlib
import fcntl
import json
import logging
import math
import mmap
import os
import select
import signal
import socket
import string
import subprocess
import sys
import time
import weakref
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from models.contract.errors import (
    ClipDamaged,
    ClipError,
    DecodeLimitExceeded,
    DecoderStopped,
    Internal,
    ServewrightError,
    all_errors,
)
from models.contract.note_codes import NoteCode, Saying, say
from workers.video.limits import RING_SLOTS, DecodeLimits

LOG = logging.getLogger(__name__)

MESSAGE_BYTES = 1 << 16
"""Longest message of the decoder, bytes."""

LONGEST_NAME = 60
"""Characters of a name that the decoder tells, such as a codec's or a container's fault."""
_IN_NAMES = frozenset(string.ascii_letters + string.digits + " _-+.,()")
"""Characters of such names."""

_BOOT = (
    "import sys, json; sys.path[:] = json.loads(sys.argv[1]); "
    "from workers.video.child import main; main(*map(int, sys.argv[2:]))"
)
_KEPT_ENVIRONMENT = ("PATH", "LD_LIBRARY_PATH", "LANG", "LC_ALL")
_FROM_OUTSIDE = frozenset(
    -number for number in (signal.SIGKILL, signal.SIGTERM, signal.SIGHUP, signal.SIGQUIT)
)
"""Deaths that somebody else brings: the kernel short of memory, or whoever stops processes. The
decoder can send no signal, and its own limits end it by others."""
_CLIP_ERRORS = {cls.code: cls for cls in all_errors() if issubclass(cls, ClipError)}


class DecoderProcess:
    """One decoder process, from start to end.

    Parameters
    ----------
    film : int
        Open descriptor of the film; the child reads it by reopening, from the start.
    limits : DecodeLimits
    indices : sequence of int, optional
        Send only these frames; None = all.
    times : sequence of float, optional
        Their times, real seconds from the first frame: the film is then not read through.
    every_s : float, optional
        Of all frames, hand over only one in so many real seconds; tell the times of the others.
    capture_fps : float, optional
        Rate the camera recorded at, which makes real seconds of the file's.
    longest_side : int, optional
        Scale down to this, pixels.

    Attributes
    ----------
    pid : int
    confined : bool or None
        Whether the child's system-call filter is in force; None until it is ready.
    walled : bool
        Whether the kernel keeps other files from it.

    Notes
    -----
    The kernel ends the child when the *thread* that made this object ends: keep the thread.
    """

    def __init__(
        self,
        film: int,
        limits: DecodeLimits,
        *,
        indices: Sequence[int] | None = None,
        times: Sequence[float] | None = None,
        every_s: float | None = None,
        capture_fps: float | None = None,
        longest_side: int | None = None,
    ) -> None:
        self._limits = limits
        self._waited_s = 0.0
        self._frames: npt.NDArray[np.uint8] | None = None
        self.confined: bool | None = None
        job = {
            "limits": limits.as_dict(),
            "indices": None if indices is None else [int(i) for i in indices],
            "times": None if times is None else [float(t) for t in times],
            "every_s": every_s,
            "capture_fps": capture_fps,
            "longest_side": longest_side,
        }
        environment = {k: os.environ[k] for k in _KEPT_ENVIRONMENT if k in os.environ}
        environment |= {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
        environment |= {"OPENCV_LOG_LEVEL": "SILENT", "OPENCV_FFMPEG_LOGLEVEL": "-8"}
        # PID-checked by the child, in case this process ends before the child has asked the
        # kernel to be ended with it.
        with contextlib.ExitStack() as stack:
            ours, theirs = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
            stack.enter_context(theirs)
            job_file = stack.enter_context(_memory_file("job", json.dumps(job).encode()))
            self._log = _memory_file("log", b"")
            numbers = [theirs.fileno(), film, os.getpid(), job_file.fileno()]
            try:
                self._process = subprocess.Popen(
                    [sys.executable, "-I", "-c", _BOOT, json.dumps(sys.path), *map(str, numbers)],
                    stdin=subprocess.DEVNULL,
                    stdout=subprocess.DEVNULL,
                    stderr=self._log,
                    env=environment,
                    pass_fds=(theirs.fileno(), film, job_file.fileno()),
                )
            except BaseException:
                ours.close()
                self._log.close()
                raise
        self._connection = ours
        self.pid = self._process.pid
        self._end = weakref.finalize(self, _finish, self._process, ours, self._log)
        ready = self.receive("ready")
        self.confined = ready.get("confined") is True
        self.walled = ready.get("files") not in (0, None)

    def receive(self, *kinds: str) -> dict[str, Any]:
        """Return the child's next message, one of ``kinds``.

        Raises
        ------
        ClipError
            What the child found wrong with the film; ``DecodeLimitExceeded`` when it was stopped
            by a limit; ``ClipDamaged`` when it crashed or says what it should not.
        DecoderStopped
            When something else ended it, which says nothing of the film.
        Internal
            When it could not start or has a fault of its own.
        """
        packet = self._packet()
        try:
            message = json.loads(packet)
            kind = message["kind"]
        except (ValueError, KeyError, TypeError) as error:
            raise self._stop(ClipDamaged()) from error
        if kind == "error":
            cls = _CLIP_ERRORS.get(str(message.get("code")))
            if cls is None:
                # Quoted: a film that has taken the decoder over must not write lines of the log.
                LOG.error("the decoder process failed: %.4000r", message.get("trace"))
                raise self._stop(Internal())
            raise self._stop(cls(_said(message)))
        if kind not in kinds:
            raise self._stop(ClipDamaged())
        return dict(message)

    def lend_ring(self, height: int, width: int) -> None:
        """Make the shared memory for frames of this size and hand it to the child."""
        size = RING_SLOTS * height * width * 3
        descriptor = os.memfd_create("frames", os.MFD_CLOEXEC | os.MFD_ALLOW_SEALING)
        try:
            os.ftruncate(descriptor, size)
            # A shrunk file would kill this process at its next read.
            seals = fcntl.F_SEAL_SHRINK | fcntl.F_SEAL_GROW | fcntl.F_SEAL_SEAL
            fcntl.fcntl(descriptor, fcntl.F_ADD_SEALS, seals)
            ring = mmap.mmap(descriptor, size, prot=mmap.PROT_READ)
            frames = np.frombuffer(ring, np.uint8).reshape(RING_SLOTS, height, width, 3)
            self._frames = frames
            try:
                socket.send_fds(self._connection, [b"m"], [descriptor])
            except OSError:
                raise self._ended() from None
        finally:
            os.close(descriptor)

    def frame(self, message: dict[str, Any], number: int) -> tuple[int, float, npt.NDArray[Any]]:
        """Return index, time and pixels (a read-only view) of the ``number``-th sent frame."""
        index, time_s, slot = message.get("index"), message.get("time_s"), message.get("slot")
        if not (
            isinstance(index, int)
            and isinstance(time_s, float)
            and math.isfinite(time_s)
            and slot == number % RING_SLOTS
            and self._frames is not None
        ):
            raise self._stop(ClipDamaged())
        return index, time_s, self._frames[number % RING_SLOTS]

    def passed(self, message: dict[str, Any]) -> list[tuple[int, float]]:
        """Return index and time of frames that were decoded but not handed over."""
        index, times = message.get("index"), message.get("times")
        if not (
            isinstance(index, int)
            and isinstance(times, list)
            and all(isinstance(time_s, float) and math.isfinite(time_s) for time_s in times)
        ):
            raise self._stop(ClipDamaged())
        return list(enumerate(times, index))

    def release(self) -> None:
        """Let the child reuse the oldest frame."""
        # A child that has ended is noticed at the next receive.
        with contextlib.suppress(OSError):
            self._connection.send(b"r")

    def close(self) -> None:
        """End the child, whatever it is doing, and free everything. May be called again."""
        self._frames = None
        self._end()

    def _packet(self) -> bytes:
        budget = min(self._limits.stall_s, self._limits.wall_s - self._waited_s)
        poll = select.poll()
        poll.register(self._connection, select.POLLIN)
        began = time.monotonic()
        ready = budget > 0 and poll.poll(budget * 1000)
        self._waited_s += time.monotonic() - began
        if not ready:
            raise self._stop(DecodeLimitExceeded(say(NoteCode.DECODER_SILENT, seconds=budget)))
        try:
            packet = self._connection.recv(MESSAGE_BYTES)
        except OSError:
            packet = b""
        if not packet:
            raise self._ended()
        return packet

    def _ended(self) -> ServewrightError:
        """Return the error for a child that has ended without a word."""
        try:
            code = self._process.wait(timeout=5)
        except subprocess.TimeoutExpired:
            return self._stop(ClipDamaged())
        log = os.pread(self._log.fileno(), 4000, 0).decode(errors="replace")
        if self.confined is None and code > 0:
            LOG.error("the decoder process did not start: %r", log)
            return self._stop(Internal())
        if code == -signal.SIGXCPU:
            return self._stop(DecodeLimitExceeded())
        if code in _FROM_OUTSIDE:
            LOG.warning("the decoder process was ended by %s", signal.Signals(-code).name)
            return self._stop(DecoderStopped())
        name = signal.Signals(-code).name if code < 0 else f"exit {code}"
        return self._stop(ClipDamaged(say(NoteCode.DECODER_ENDED, reason=name)))

    def _stop(self, error: ServewrightError) -> ServewrightError:
        self.close()
        return error


def _memory_file(name: str, content: bytes) -> Any:
    file = os.fdopen(os.memfd_create(name), "w+b")
    file.write(content)
    file.seek(0)
    return file


def _finish(process: subprocess.Popen[bytes], connection: socket.socket, log: Any) -> None:
    connection.close()
    process.kill()
    process.wait()
    log.close()


def _said(message: Mapping[str, Any]) -> Saying | None:
    """Return what the child says of an error; its default words where that is not sound.

    Its words are those of the catalogue: of the child come a code, numbers and short names.
    """
    said, parameters = message.get("said"), message.get("parameters")
    known = isinstance(said, str) and said in {code.value for code in NoteCode}
    if known and isinstance(parameters, dict):
        return Saying(str(said), {name: _parameter(value) for name, value in parameters.items()})
    return None


def _parameter(value: object) -> str | float | tuple[str, ...]:
    if isinstance(value, list):
        return tuple(_name(one) for one in value[:20])
    return value if isinstance(value, int | float) else _name(value)


def _name(value: object) -> str:
    """Return a short text without anything that could pass for a sentence, a link or markup."""
    return "".join(one for one in str(value)[:LONGEST_NAME] if one in _IN_NAMES) or "?"
