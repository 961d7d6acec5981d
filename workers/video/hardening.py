"""Walls around the decoder process: limits, no new rights, death with its parent, no network.

Linux. Called by the decoder process on itself, after its imports and before it reads a byte of the
film. Resource limits are required; the system-call filter needs a kernel and processor that have
it, and `harden` says whether it is in force.
"""

from __future__ import annotations

import ctypes
import errno
import os
import platform
import resource
import signal
import struct
import sys
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

from workers.video.limits import DecodeLimits

_PR_SET_PDEATHSIG = 1
"""From Linux's ``prctl.h``."""
_PR_SET_DUMPABLE = 4
"""From Linux's ``prctl.h``."""
_PR_SET_SECCOMP = 22
"""From Linux's ``prctl.h``."""
_PR_SET_NO_NEW_PRIVS = 38
"""From Linux's ``prctl.h``."""
_SECCOMP_MODE_FILTER = 2
"""From Linux's ``seccomp.h``."""
_CLONE_THREAD = 0x10000
"""From Linux's ``sched.h``: the clone is a thread."""
_CPU_MARGIN_S = 5
"""Seconds from the soft to the hard limit of processor time: the soft one sends SIGXCPU, which
tells it from a SIGKILL of others (setrlimit(2))."""
_WRITE_FLAGS = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC

# name -> (x86-64, AArch64); -1 = that processor has no such call. Linux UAPI system-call tables.
_REFUSED: dict[str, tuple[int, int]] = {
    "socket": (41, 198),
    "connect": (42, 203),
    "bind": (49, 200),
    "listen": (50, 201),
    "fork": (57, -1),
    "vfork": (58, -1),
    "execve": (59, 221),
    "execveat": (322, 281),
    "kill": (62, 129),
    "ptrace": (101, 117),
    "process_vm_readv": (310, 270),
    "process_vm_writev": (311, 271),
    "io_uring_setup": (425, 425),
    "creat": (85, -1),
    "truncate": (76, 45),
    "rename": (82, -1),
    "renameat": (264, 38),
    "renameat2": (316, 276),
    "mkdir": (83, -1),
    "mkdirat": (258, 34),
    "rmdir": (84, -1),
    "link": (86, -1),
    "linkat": (265, 37),
    "unlink": (87, -1),
    "unlinkat": (263, 35),
    "symlink": (88, -1),
    "symlinkat": (266, 36),
    "chmod": (90, -1),
    "fchmodat": (268, 53),
    "mknodat": (259, 33),
}
_ABSENT: dict[str, tuple[int, int]] = {"clone3": (435, 435), "openat2": (437, 437)}
_CLONE = (56, 220)
"""Numbers of the system call as in the tables above."""
_OPEN = (2, -1)
"""Likewise."""
_OPENAT = (257, 56)
"""Likewise."""
_AUDIT_ARCH = {"x86_64": (0, 0xC000003E), "aarch64": (1, 0xC00000B7)}

_LOAD, _EQUAL, _ANY_BIT, _RETURN = 0x20, 0x15, 0x45, 0x06
"""Instructions of the classic Berkeley Packet Filter (Linux's ``bpf_common.h``)."""
_ALLOW, _ERRNO, _KILL = 0x7FFF0000, 0x00050000, 0x80000000
"""What a filter may answer (Linux's ``seccomp.h``)."""


def harden(limits: DecodeLimits, parent: int) -> bool:
    """Put the calling process behind its walls.

    Parameters
    ----------
    limits : DecodeLimits
    parent : int
        Process id of the parent; when it is gone already, the process exits.

    Returns
    -------
    bool
        Whether the system-call filter is in force.
    """
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
    return _filter_calls(libc)


def _limit(kind: int, soft: int, hard: int) -> None:
    present = resource.getrlimit(kind)[1]
    if present != resource.RLIM_INFINITY:
        soft, hard = min(soft, present), min(hard, present)
    resource.setrlimit(kind, (soft, hard))


def _prctl(libc: ctypes.CDLL, option: int, value: int) -> None:
    if libc.prctl(option, ctypes.c_ulong(value), 0, 0, 0) != 0:
        code = ctypes.get_errno()
        raise OSError(code, f"prctl({option}): {os.strerror(code)}")


def _filter_calls(libc: ctypes.CDLL) -> bool:
    """Refuse network, new programs and processes, and all writing of files."""
    found = _AUDIT_ARCH.get(platform.machine())
    if found is None:
        return False
    column, arch = found
    program = b"".join(_program(column, arch))

    class Filter(ctypes.Structure):
        _fields_ = (("length", ctypes.c_ushort), ("program", ctypes.c_char_p))

    spec = Filter(len(program) // 8, program)
    done = libc.prctl(
        _PR_SET_SECCOMP, ctypes.c_ulong(_SECCOMP_MODE_FILTER), ctypes.byref(spec), 0, 0
    )
    return bool(done == 0)


def _program(column: int, arch: int) -> Iterator[bytes]:
    """Yield the instructions of the classic BPF filter (``struct seccomp_data`` offsets)."""

    def step(code: int, k: int, yes: int = 0, no: int = 0) -> bytes:
        return struct.pack("=HBBI", code, yes, no, k)

    def first_word(argument: int) -> int:
        return 16 + 8 * argument

    yield step(_LOAD, 4)
    yield step(_EQUAL, arch, 1, 0)
    yield step(_RETURN, _KILL)
    yield step(_LOAD, 0)
    for numbers, code in ((_REFUSED, errno.EPERM), (_ABSENT, errno.ENOSYS)):
        for pair in numbers.values():
            if pair[column] >= 0:
                yield step(_EQUAL, pair[column], 0, 1)
                yield step(_RETURN, _ERRNO | code)
    yield step(_EQUAL, _CLONE[column], 0, 4)
    yield step(_LOAD, first_word(0))
    yield step(_ANY_BIT, _CLONE_THREAD, 1, 0)
    yield step(_RETURN, _ERRNO | errno.EPERM)
    yield step(_RETURN, _ALLOW)
    for pair, argument in ((_OPEN, 1), (_OPENAT, 2)):
        if pair[column] >= 0:
            yield step(_EQUAL, pair[column], 0, 4)
            yield step(_LOAD, first_word(argument))
            yield step(_ANY_BIT, _WRITE_FLAGS, 0, 1)
            yield step(_RETURN, _ERRNO | errno.EACCES)
            yield step(_RETURN, _ALLOW)
    yield step(_RETURN, _ALLOW)
