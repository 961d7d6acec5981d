"""Keeps the memory and the environment of a process, which hold secrets, from its neighbours."""

from __future__ import annotations

import ctypes
import os
import sys

_PR_SET_DUMPABLE = 4
"""From Linux's ``prctl.h``."""


def hide_from_others() -> None:
    """Close ``/proc/PID/environ``, ``mem`` and the like to processes of the same user (proc(5)).

    A decoder runs as the user of its worker: a film that has taken it over must find no key. Only
    a process with CAP_SYS_PTRACE still can look.
    """
    if not sys.platform.startswith("linux"):
        return
    libc = ctypes.CDLL(None, use_errno=True)
    if libc.prctl(_PR_SET_DUMPABLE, 0, 0, 0, 0) != 0:
        number = ctypes.get_errno()
        raise OSError(number, f"prctl(PR_SET_DUMPABLE): {os.strerror(number)}")
