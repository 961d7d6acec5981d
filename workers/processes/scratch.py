"""Temporary files of jobs, which hold films: gone with the job, however it ends.

A job that is killed cannot clean up after itself. So each worker has a folder of its own for all
its jobs put there, empties it after each, and takes away the folders of workers that are no more.
"""

from __future__ import annotations

import fcntl
import os
import shutil
import tempfile
from contextlib import suppress
from pathlib import Path

PREFIX = "servewright-work-"


class Scratch:
    """The folder of one worker. A lock on it, which ends with the process, marks it as in use.

    Parameters
    ----------
    base : Path or None
        Where to make it; None = the system's folder for temporary files.
    """

    def __init__(self, base: Path | None = None) -> None:
        base = Path(tempfile.gettempdir()) if base is None else base
        remove_abandoned(base)
        while True:
            self.folder = Path(tempfile.mkdtemp(prefix=PREFIX, dir=base))
            lock = _lock(self.folder)
            if lock is not None and self.folder.exists():  # else another worker was faster
                self._lock = lock
                return
            if lock is not None:
                os.close(lock)

    def use(self) -> None:
        """Put the temporary files of this process there from now on."""
        tempfile.tempdir = str(self.folder)

    def clear(self) -> None:
        """Remove everything in it."""
        for path in self.folder.iterdir():
            if path.is_dir() and not path.is_symlink():
                shutil.rmtree(path, ignore_errors=True)
            else:
                path.unlink(missing_ok=True)

    def close(self) -> None:
        """Remove it."""
        shutil.rmtree(self.folder, ignore_errors=True)
        os.close(self._lock)


def remove_abandoned(base: Path) -> None:
    """Remove the folders of workers that ended without doing it themselves."""
    for folder in base.glob(f"{PREFIX}*"):
        lock = _lock(folder)
        if lock is not None:
            shutil.rmtree(folder, ignore_errors=True)
            os.close(lock)


def _lock(folder: Path) -> int | None:
    """Return the descriptor of a locked folder of ours; None when that cannot be had."""
    with suppress(OSError):  # gone, a link, or somebody else's
        descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW | os.O_CLOEXEC)
        try:
            if os.fstat(descriptor).st_uid == os.geteuid():
                fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
                return descriptor
        except OSError:  # in use
            pass
        os.close(descriptor)
    return None
