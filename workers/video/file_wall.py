"""The files a decoder may open: the film it was given, and no other (Landlock, Linux 5.13)."""

from __future__ import annotations

import ctypes
import errno
import os
import struct

_CREATE_RULESET, _ADD_RULE, _RESTRICT_SELF = 444, 445, 446
"""Numbers of the system calls, the same on all processors."""
_VERSION_FLAG = 1
"""``LANDLOCK_CREATE_RULESET_VERSION``."""
_PATH_BENEATH = 1
"""``LANDLOCK_RULE_PATH_BENEATH``."""
_READ_FILE = 1 << 2
"""``LANDLOCK_ACCESS_FS_READ_FILE``; it names a right over files, from Linux's ``landlock.h``."""
_FILES_BY_VERSION = {1: 0x1FFF, 2: 0x3FFF, 3: 0x7FFF, 4: 0x7FFF, 5: 0xFFFF}
"""All rights over files that a version of the interface knows; later ones know those of 5."""
_TCP_FROM, _TCP = 4, 0x3
"""Version that knows the rights to bind and connect, and these."""
_SCOPES_FROM, _SCOPES = 6, 0x3
"""Version that knows abstract sockets and signals of others, and these."""


def version(libc: ctypes.CDLL) -> int:
    """Return the version of Landlock that this kernel has; 0 = none."""
    found = libc.syscall(_CREATE_RULESET, None, ctypes.c_size_t(0), ctypes.c_uint32(_VERSION_FLAG))
    return max(0, int(found))


def wall_in(libc: ctypes.CDLL, film: int | None) -> int:
    """Let the calling thread open the film for reading, and nothing else.

    Parameters
    ----------
    film : int or None
        Descriptor of the one file; None = no file at all.

    Returns
    -------
    int
        Version of Landlock in force; 0 when the kernel has none.

    Raises
    ------
    OSError
        The kernel has it and refuses.
    """
    known = version(libc)
    if known == 0:
        return 0
    attributes = struct.pack(
        "=QQQ",
        _FILES_BY_VERSION[min(known, max(_FILES_BY_VERSION))],
        _TCP if known >= _TCP_FROM else 0,
        _SCOPES if known >= _SCOPES_FROM else 0,
    )
    size = 24 if known >= _SCOPES_FROM else 16 if known >= _TCP_FROM else 8
    ruleset = _checked(
        libc.syscall(_CREATE_RULESET, attributes, ctypes.c_size_t(size), ctypes.c_uint32(0))
    )
    try:
        if film is not None:
            rule = struct.pack("=Qi", _READ_FILE, film)
            _checked(libc.syscall(_ADD_RULE, ruleset, _PATH_BENEATH, rule, ctypes.c_uint32(0)))
        _checked(libc.syscall(_RESTRICT_SELF, ruleset, ctypes.c_uint32(0)))
    finally:
        os.close(ruleset)
    return known


def _checked(result: int) -> int:
    if result < 0:
        code = ctypes.get_errno()
        raise OSError(code or errno.EINVAL, f"Landlock: {os.strerror(code)}")
    return result
