"""Walls around the decoder process: limits, no rights, death with its parent, few calls, one file.

Linux. Called by the decoder process on itself, after its imports and before it reads a byte of the
film. Resource limits are required; the list of allowed system calls and the wall around files need
a kernel that has them, and `harden` says which are in force. What is open without one of them:

========================  ====================================================================
missing                   open to a film that has taken the decoder over
========================  ====================================================================
list of system calls      whatever the user may do: network, processes, all calls of the kernel
wall around files         reading files that the user may read (not the environment of workers)
both                      both; run workers as a user without rights, or on a newer kernel
========================  ====================================================================
"""

from __future__ import annotations

import ctypes
import os
import platform
import resource
import signal
import stat
import struct
import sys
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from workers.video.call_filter import filter_calls
from workers.video.file_wall import wall_in
from workers.video.limits import DecodeLimits

_PR_SET_PDEATHSIG = 1
"""From Linux's ``prctl.h``."""
_PR_SET_DUMPABLE = 4
"""From Linux's ``prctl.h``."""
_PR_SET_NO_NEW_PRIVS = 38
"""From Linux's ``prctl.h``."""
_CPU_MARGIN_S = 5
"""Seconds from the soft to the hard limit of processor time: the soft one sends SIGXCPU, which
tells it from a SIGKILL of others (setrlimit(2))."""
_CAPABILITY_VERSION = 0x20080522
"""From Linux's ``capability.h``."""
_CAP_DAC_READ_SEARCH = 1 << 2
"""Likewise: reading files of others."""
_CAPSET = {"x86_64": 126, "aarch64": 91}
"""Number of the system call by processor."""


@dataclass(frozen=True, slots=True)
class Walls:
    """Which walls are in force.

    Attributes
    ----------
    calls : bool
        Only listed system calls are carried out.
    files : int
        Version of Landlock that keeps all files away but the film; 0 = none.
    """

    calls: bool
    files: int


def harden(limits: DecodeLimits, parent: int, film: int | None = None) -> Walls:
    """Put the calling process behind its walls.

    Parameters
    ----------
    limits : DecodeLimits
    parent : int
        Process id of the parent; when it is gone already, the process exits.
    film : int or None
        Descriptor of the one file that may be opened again.

    Raises
    ------
    RuntimeError
        There are other threads: walls hold for the calling one and those it starts.
    """
    if len(os.listdir("/proc/self/task")) > 1:
        raise RuntimeError("walls do not hold for threads that run already")
    libc = ctypes.CDLL(None, use_errno=True)
    _prctl(libc, _PR_SET_PDEATHSIG, signal.SIGKILL)
    if os.getppid() != parent:
        sys.exit("the parent is gone")
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    with suppress(OSError):  # The kernel shall take this process first when memory runs out.
        Path("/proc/self/oom_score_adj").write_text("1000")
    _limit(resource.RLIMIT_CPU, limits.cpu_s, limits.cpu_s + _CPU_MARGIN_S)
    for kind, value in (
        (resource.RLIMIT_AS, limits.memory_bytes),
        (resource.RLIMIT_FSIZE, 0),
        (resource.RLIMIT_NOFILE, limits.open_files),
        (resource.RLIMIT_CORE, 0),
    ):
        _limit(kind, value, value)
    _prctl(libc, _PR_SET_DUMPABLE, 0)
    _prctl(libc, _PR_SET_NO_NEW_PRIVS, 1)
    _drop_capabilities(libc, _needed_for(film))
    files = wall_in(libc, film)
    return Walls(filter_calls(libc), files)


def _needed_for(film: int | None) -> int:
    """Return the capabilities without which root could not open somebody's private film again."""
    if film is None or os.geteuid() != 0:
        return 0
    found = os.fstat(film)
    readable = found.st_uid == 0 or found.st_mode & stat.S_IROTH
    return 0 if readable else _CAP_DAC_READ_SEARCH


def _drop_capabilities(libc: ctypes.CDLL, kept: int) -> None:
    """Give up capabilities (capset(2), version 3): a decoder of root is nobody, too."""
    number = _CAPSET.get(platform.machine())
    if number is None:
        return
    header = struct.pack("=Ii", _CAPABILITY_VERSION, 0)
    sets = struct.pack("=6I", kept, kept, 0, 0, 0, 0)
    if libc.syscall(number, header, sets) != 0:
        code = ctypes.get_errno()
        raise OSError(code, f"capset: {os.strerror(code)}")


def _limit(kind: int, soft: int, hard: int) -> None:
    present = resource.getrlimit(kind)[1]
    if present != resource.RLIM_INFINITY:
        soft, hard = min(soft, present), min(hard, present)
    resource.setrlimit(kind, (soft, hard))


def _prctl(libc: ctypes.CDLL, option: int, value: int) -> None:
    if libc.prctl(option, ctypes.c_ulong(value), 0, 0, 0) != 0:
        code = ctypes.get_errno()
        raise OSError(code, f"prctl({option}): {os.strerror(code)}")
