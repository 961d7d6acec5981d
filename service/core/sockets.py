"""Unix sockets of an installation: in its data folder, or where paths are short enough."""

from __future__ import annotations

import hashlib
import os
import tempfile
from pathlib import Path

MAX_SOCKET_PATH = 100
"""Longest path of a socket, bytes: ``sun_path`` holds 108 on Linux, 104 on macOS."""


def socket_in(folder: Path, name: str, prefix: str = "") -> Path:
    """Return the path of a socket in a folder, or a short one that follows from it."""
    path = folder.resolve() / name
    if len(os.fsencode(path)) <= MAX_SOCKET_PATH:
        return path
    tag = hashlib.sha256(os.fsencode(path)).hexdigest()[:16]
    return Path(tempfile.gettempdir()) / f"servewright-{prefix}{tag}.sock"
