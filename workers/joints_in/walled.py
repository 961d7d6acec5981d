"""Has a joint file that a caller sent opened in a process of its own, behind the decoder's walls.

What comes back is checked before it is believed: a file may have taken that process over.
"""

from __future__ import annotations

import json
import logging
import os
import signal
import subprocess
import sys
import threading
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from models.contract.errors import DecoderStopped, Internal, InvalidRequest, ServewrightError
from models.contract.note_codes import NoteCode, Saying, say
from workers.joints_in.arrays import UNREADABLE
from workers.joints_in.contents import UNPACKED_BYTES, JointFile
from workers.video.limits import DecodeLimits

LOG = logging.getLogger(__name__)
READING_S = 60
"""Processor time for reading one file, seconds (working value: 32 MiB of JSON take 5 s)."""
HEAD_BYTES = 1 << 16
"""Longest first line of the process, bytes."""
MOST_BYTES = HEAD_BYTES + UNPACKED_BYTES
"""Most that is taken of it, bytes."""
LOGGED = 4000
"""Bytes of its trace that go into the log."""
LONGEST_PARAMETER = 300
"""Characters of a text that the process tells, such as a place in a document."""
_BOOT = (
    "import sys, json; sys.path[:] = json.loads(sys.argv[1]); "
    "from workers.joints_in.child import main; main(*map(int, sys.argv[2:]))"
)
_KEPT_ENVIRONMENT = ("PATH", "LD_LIBRARY_PATH", "LANG", "LC_ALL")


def read_behind_walls(
    path: Path,
    suffix: str,
    limits: DecodeLimits,
    markers: Mapping[str, Sequence[str]] | None = None,
) -> JointFile:
    """Return what a joint file holds.

    Parameters
    ----------
    path : Path
    suffix : str
        The format: one of `SUFFIXES` of the reading.
    limits : DecodeLimits
        Memory and time of the process.
    markers : mapping of joint to marker names, optional
        For C3D.

    Raises
    ------
    InvalidRequest
        If the file cannot be used; says why.
    DecoderStopped
        If something else ended the process, which says nothing of the file.
    Internal
        If the process could not start or has a fault of its own.
    """
    limits = replace(limits, cpu_s=min(limits.cpu_s, READING_S))
    told, status, late = _run(path, suffix, limits, markers)
    line, _, arrays = told.partition(b"\n")
    if status != 0 or late:
        raise _ended(status, late)
    try:
        head = json.loads(line[:HEAD_BYTES])
        code = head["code"]
    except (ValueError, KeyError, TypeError) as error:
        raise _unreadable() from error
    if code == InvalidRequest.code:
        raise InvalidRequest(_said(head))
    if code is not None:
        # Quoted: what has taken the process over must not write lines of the log.
        LOG.error("the process that reads joints failed: %.4000r", head.get("trace"))
        raise Internal()
    try:
        return JointFile.from_bytes(arrays)
    except UNREADABLE as error:
        raise _unreadable() from error


def _run(
    path: Path, suffix: str, limits: DecodeLimits, markers: Mapping[str, Sequence[str]] | None
) -> tuple[bytes, int, bool]:
    """Return what the process wrote, its status, and whether it took too long."""
    job = {
        "limits": limits.as_dict(),
        "suffix": suffix,
        "markers": None if markers is None else {k: list(v) for k, v in markers.items()},
    }
    environment = {k: os.environ[k] for k in _KEPT_ENVIRONMENT if k in os.environ}
    environment |= {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
    late = threading.Event()
    with (
        path.open("rb") as file,
        os.fdopen(os.memfd_create("job"), "w+b") as told,
        os.fdopen(os.memfd_create("log"), "w+b") as log,
    ):
        told.write(json.dumps(job).encode())
        told.seek(0)
        ours, theirs = os.pipe()
        try:
            numbers = [file.fileno(), theirs, os.getpid(), told.fileno()]
            process = subprocess.Popen(
                [sys.executable, "-I", "-c", _BOOT, json.dumps(sys.path), *map(str, numbers)],
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=log,
                env=environment,
                pass_fds=(file.fileno(), theirs, told.fileno()),
            )
        except BaseException:
            os.close(ours)
            raise
        finally:
            os.close(theirs)

        def end() -> None:
            late.set()
            process.kill()

        timer = threading.Timer(limits.stall_s, end)
        timer.start()
        try:
            with os.fdopen(ours, "rb") as pipe:
                found = pipe.read(MOST_BYTES)
            if len(found) == MOST_BYTES:
                end()
            status = process.wait()
            if status > 0:
                said = os.pread(log.fileno(), LOGGED, 0).decode(errors="replace")
                LOG.error("the process that reads joints ended with %d: %r", status, said)
            return found, status, late.is_set()
        finally:
            timer.cancel()
            process.kill()  # it has ended, unless waiting for it was broken off
            process.wait()


def _ended(status: int, late: bool) -> ServewrightError:
    """Return the error for a process that has ended without a word."""
    if late or -status == signal.SIGXCPU:
        return InvalidRequest(say(NoteCode.JOINT_FILE_TOO_MUCH))
    if -status in (signal.SIGKILL, signal.SIGTERM, signal.SIGHUP, signal.SIGQUIT):
        LOG.warning("the process that reads joints was ended by signal %d", -status)
        return DecoderStopped()
    if status > 0:
        return Internal()
    return _unreadable()


def _unreadable() -> InvalidRequest:
    return InvalidRequest(say(NoteCode.JOINT_FILE_UNREADABLE, reason="damaged"))


def _said(head: Mapping[str, Any]) -> Saying | None:
    """Return what the process says of the file; default words where that is not sound."""
    said, parameters = head.get("said"), head.get("parameters")
    known = isinstance(said, str) and said in {code.value for code in NoteCode}
    if known and isinstance(parameters, dict):
        return Saying(str(said), {name: _parameter(value) for name, value in parameters.items()})
    return None


def _parameter(value: object) -> str | float | tuple[str, ...]:
    if isinstance(value, list):
        return tuple(_text(one) for one in value[:100])
    return value if isinstance(value, int | float) else _text(value)


def _text(value: object) -> str:
    """Return a short text without anything that could pass for a link or for markup."""
    kept = (one for one in str(value)[:LONGEST_PARAMETER] if one.isprintable() and one not in "<>:")
    return "".join(kept) or "?"
