"""The system calls that a decoder may make; every other one is refused (seccomp, classic BPF).

A list of what is allowed needs no knowledge of what a kernel offers beside it, nor of what later
ones will. What FFmpeg and OpenCV call was traced over the films of the tests; numbers are those of
Linux's system-call tables.
"""

from __future__ import annotations

import ctypes
import errno
import os
import platform
import struct
from collections.abc import Iterator

_PR_SET_SECCOMP = 22
"""From Linux's ``prctl.h``."""
_PR_SET_NAME = 15
"""Likewise: names the calling thread."""
_SECCOMP_MODE_FILTER = 2
"""From Linux's ``seccomp.h``."""
_CLONE_THREAD = 0x10000
"""From Linux's ``sched.h``: the clone is a thread."""
_PROT_EXEC = 4
"""From Linux's ``mman.h``."""
_AT_EMPTY_PATH = 0x1000
"""From Linux's ``fcntl.h``: the call is about the descriptor."""
_WRITE_FLAGS = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC
_FCNTL_COMMANDS = (0, 1, 2, 3, 4, 1030)
"""Duplicate a descriptor, read and set its flags (``fcntl.h``); none that sends signals."""

# name -> (x86-64, AArch64); -1 = that processor has no such call.
_ALLOWED: dict[str, tuple[int, int]] = {
    "read": (0, 63),
    "readv": (19, 65),
    "pread64": (17, 67),
    "lseek": (8, 62),
    "fadvise64": (221, 223),
    "write": (1, 64),  # to what is open for writing: the log
    "writev": (20, 66),
    "close": (3, 57),
    "fstat": (5, 80),
    "munmap": (11, 215),
    "mremap": (25, 216),
    "madvise": (28, 233),
    "brk": (12, 214),
    "futex": (202, 98),
    "sched_yield": (24, 124),
    "sched_getaffinity": (204, 123),
    "set_robust_list": (273, 99),
    "rseq": (334, 293),
    "membarrier": (324, 283),
    "getcpu": (309, 168),
    "exit": (60, 93),
    "exit_group": (231, 94),
    "rt_sigaction": (13, 134),
    "rt_sigprocmask": (14, 135),
    "rt_sigreturn": (15, 139),
    "sigaltstack": (131, 132),
    "restart_syscall": (219, 128),
    "getpid": (39, 172),
    "gettid": (186, 178),
    "getppid": (110, 173),
    "getuid": (102, 174),
    "geteuid": (107, 175),
    "getgid": (104, 176),
    "getegid": (108, 177),
    "clock_gettime": (228, 113),
    "clock_getres": (229, 114),
    "clock_nanosleep": (230, 115),
    "nanosleep": (35, 101),
    "gettimeofday": (96, 169),
    "time": (201, -1),
    "poll": (7, -1),
    "ppoll": (271, 73),
    "getrandom": (318, 278),
    "getrusage": (98, 165),
    "sysinfo": (99, 179),
    "uname": (63, 160),
    # on the one socket it has; it can make none
    "sendto": (44, 206),
    "sendmsg": (46, 211),
    "recvfrom": (45, 207),
    "recvmsg": (47, 212),
    "getsockopt": (55, 209),
    "getsockname": (51, 204),
    "getpeername": (52, 205),
    "shutdown": (48, 210),
}
_ABSENT: dict[str, tuple[int, int]] = {
    "clone3": (435, 435),
    "openat2": (437, 437),
    "statx": (332, 291),
}
"""Calls whose arguments a filter cannot see: told to be unknown, so that older ones are used."""
_NO_TERMINAL = {"ioctl": (16, 29)}
_CLONE, _PRCTL, _FCNTL = (56, 220), (157, 167), (72, 25)
"""Numbers of further calls, as in the tables above; their arguments decide."""
_OPEN, _OPENAT, _NEWFSTATAT = (2, -1), (257, 56), (262, 79)
"""Likewise."""
_MMAP, _MPROTECT = (9, 222), (10, 226)
"""Likewise."""
_KILL_OTHERS, _TGKILL = (62, 129), (234, 131)
"""Likewise: ``kill`` and ``tgkill``, for signals to itself (``abort``)."""
_AUDIT_ARCH = {"x86_64": (0, 0xC000003E), "aarch64": (1, 0xC00000B7)}

_LOAD, _EQUAL, _ANY_BIT, _RETURN = 0x20, 0x15, 0x45, 0x06
"""Instructions of the classic Berkeley Packet Filter (Linux's ``bpf_common.h``)."""
_ALLOW, _ERRNO, _KILL = 0x7FFF0000, 0x00050000, 0x80000000
"""What a filter may answer (Linux's ``seccomp.h``)."""


def filter_calls(libc: ctypes.CDLL) -> bool:
    """Refuse every system call that is not listed; return whether the kernel does so."""
    found = _AUDIT_ARCH.get(platform.machine())
    if found is None:
        return False
    column, arch = found
    program = b"".join(_program(column, arch, os.getpid()))

    class Filter(ctypes.Structure):
        _fields_ = (("length", ctypes.c_ushort), ("program", ctypes.c_char_p))

    spec = Filter(len(program) // 8, program)
    done = libc.prctl(
        _PR_SET_SECCOMP, ctypes.c_ulong(_SECCOMP_MODE_FILTER), ctypes.byref(spec), 0, 0
    )
    return bool(done == 0)


def _step(code: int, k: int, yes: int = 0, no: int = 0) -> bytes:
    return struct.pack("=HBBI", code, yes, no, k)


def _answer(code: int) -> bytes:
    return _step(_RETURN, _ERRNO | code if code else _ALLOW)


def _program(column: int, arch: int, pid: int) -> Iterator[bytes]:
    """Yield the instructions (offsets: ``struct seccomp_data``)."""
    yield _step(_LOAD, 4)
    yield _step(_EQUAL, arch, 1, 0)
    yield _step(_RETURN, _KILL)
    yield _step(_LOAD, 0)
    for calls, code in (
        (_ALLOWED, 0),
        (_ABSENT, errno.ENOSYS),
        (_NO_TERMINAL, errno.ENOTTY),
    ):
        for pair in calls.values():
            yield from _when(pair[column], [_answer(code)])
    yield from _when(_CLONE[column], _bits(0, _CLONE_THREAD, 0, errno.EPERM))
    yield from _when(_NEWFSTATAT[column], _bits(3, _AT_EMPTY_PATH, 0, errno.EACCES))
    for pair, argument in ((_OPEN, 1), (_OPENAT, 2)):
        yield from _when(pair[column], _bits(argument, _WRITE_FLAGS, errno.EACCES, 0))
    for pair in (_MMAP, _MPROTECT):
        yield from _when(pair[column], _bits(2, _PROT_EXEC, errno.EACCES, 0))
    for pair in (_KILL_OTHERS, _TGKILL):
        yield from _when(pair[column], _one_of(0, (pid,)))
    yield from _when(_PRCTL[column], _one_of(0, (_PR_SET_NAME,)))
    yield from _when(_FCNTL[column], _one_of(1, _FCNTL_COMMANDS))
    yield _answer(errno.EPERM)


def _when(number: int, steps: list[bytes]) -> Iterator[bytes]:
    """Yield the steps for one call; the number of the call is in the accumulator."""
    if number >= 0:
        yield _step(_EQUAL, number, 0, len(steps))
        yield from steps


def _low_word(argument: int) -> bytes:
    return _step(_LOAD, 16 + 8 * argument)


def _bits(argument: int, bits: int, some: int, none: int) -> list[bytes]:
    """Answer by whether an argument has any of these bits."""
    return [_low_word(argument), _step(_ANY_BIT, bits, 0, 1), _answer(some), _answer(none)]


def _one_of(argument: int, values: tuple[int, ...]) -> list[bytes]:
    """Allow some values of an argument."""
    tests = [_step(_EQUAL, value, len(values) - place, 0) for place, value in enumerate(values)]
    return [_low_word(argument), *tests, _answer(errno.EPERM), _answer(0)]
