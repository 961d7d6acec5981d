"""The file of keys that seal local objects: 64 hexadecimal digits a line, the newest first."""

from __future__ import annotations

import os
import secrets
from pathlib import Path

from models.contract.errors import InvalidRequest

KEY_BYTES = 32
"""Length of a key: AES-256."""
MARKER = "objects-are-sealed"
"""File beside the folder of objects that says that a key is needed to read them."""


def keys_in(path: Path) -> list[bytes]:
    """Return the keys of a file, the newest first.

    Raises
    ------
    InvalidRequest
        It cannot be read, others may read it, or it is no file of keys.
    """
    try:
        mode, text = path.stat().st_mode, path.read_text("ascii")
    except (OSError, UnicodeDecodeError) as error:
        raise InvalidRequest(f"The key file {path} cannot be read: {error}.") from error
    if mode & 0o077:
        raise InvalidRequest(f"Others may read the key file {path}. Do: chmod 600 {path}")
    try:
        keys = [bytes.fromhex(line) for line in text.split()]
    except ValueError:
        keys = []
    if not keys or any(len(key) != KEY_BYTES for key in keys):
        raise InvalidRequest(
            f"{path} is no file of keys. Make one with: servewright object-key new {path}"
        )
    return keys


def add_key(path: Path) -> int:
    """Put a new key in front of those in a file, or make the file; return how many are in it."""
    keys = [secrets.token_bytes(KEY_BYTES), *(keys_in(path) if path.exists() else ())]
    aside = path.with_name(f".{path.name}.new")
    with os.fdopen(os.open(aside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
        file.writelines(f"{key.hex()}\n" for key in keys)
        file.flush()
        os.fsync(file.fileno())
    aside.replace(path)
    return len(keys)
