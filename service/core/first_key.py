"""The first admin key reaches its owner in a file only the owner can read, never through a log."""

from __future__ import annotations

import logging
import os
from pathlib import Path

from service.core.access import Keys
from service.core.key_text import key_text, new_key_id, new_secret
from service.core.settings import Settings

logger = logging.getLogger(__name__)


class FirstKeyNotWritten(Exception):
    """The file of the first key cannot be written; no key was made. Says what to do."""


def hand_out_first_key(settings: Settings, keys: Keys) -> Path | None:
    """Make the first admin key when there is no key at all.

    Returns
    -------
    pathlib.Path or None
        The file it was written to; None when there were keys, or the settings give it.

    Raises
    ------
    FirstKeyNotWritten
        Nothing was made.
    """
    if settings.first_key is not None:
        if keys.add_first(settings.first_key.get_secret_value()) is not None:
            logger.info("the first admin key is the one that the settings give")
        return None
    if keys.any():
        return None
    path, text = settings.first_key_path, key_text(new_key_id(), new_secret())
    waiting = path.with_name(f"{path.name}.{os.getpid()}")
    try:
        _write(waiting, text)  # first the file: a key that nobody has must not come to be
    except OSError as error:
        raise FirstKeyNotWritten(
            f"the first admin key cannot be written to {path} ({error.strerror}): make the folder "
            "writable or set SERVEWRIGHT_FIRST_KEY_FILE, and start again; or make a key with "
            "servewright keys add"
        ) from error
    try:
        made = keys.add_first(text)
    except BaseException:
        waiting.unlink(missing_ok=True)
        raise
    if made is None:  # another process was first
        waiting.unlink(missing_ok=True)
        return None
    waiting.replace(path)
    logger.info("the first admin key is in %s; keep it elsewhere and remove the file", path)
    return path


def _write(path: Path, text: str) -> None:
    path.parent.mkdir(0o700, parents=True, exist_ok=True)
    path.unlink(missing_ok=True)
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(handle, "w") as file:
        file.write(text + "\n")
        file.flush()
        os.fsync(file.fileno())
