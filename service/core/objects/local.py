"""Object store in a local folder: written aside, flushed to disk, then renamed into place."""

from __future__ import annotations

import builtins
import errno
import io
import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import datetime
from pathlib import Path
from typing import BinaryIO

from models.contract.errors import ObjectStoreUnavailable
from models.contract.note_codes import NoteCode, say
from service.core.objects.port import (
    ByteRange,
    ObjectInfo,
    ObjectMissing,
    PresignedUpload,
    checked_key,
)

_PENDING = ".pending"
_COPY = 1 << 20
"""Bytes that are copied at a time."""
PROBE_BYTES = 64 * 1024
"""Bytes that are written to see whether the disk takes any (working value: several blocks)."""


class LocalObjects:
    """Objects as files below a folder. Media types are not kept (the database has them).

    Parameters
    ----------
    least_free_bytes : int
        With less room on the disk, the store says that it is not ready.
    """

    parts: None = None
    """Nobody but the service reaches the folder."""

    def __init__(self, root: Path, least_free_bytes: int = 0) -> None:
        self._root = root
        self._pending = root / _PENDING
        self._least_free = least_free_bytes

    def upload(self, key: str, media_type: str) -> _LocalUpload:
        """Begin to write an object."""
        path = self._path(key)
        with _translated():
            self._make_folders()
            return _LocalUpload(key, path, self._pending)

    def put_bytes(self, key: str, data: bytes, media_type: str) -> ObjectInfo:
        """Write a whole object from memory."""
        upload = self.upload(key, media_type)
        try:
            upload.write(data)
            return upload.commit()
        finally:
            upload.abort()

    def stat(self, key: str) -> ObjectInfo:
        """Return the size of an object."""
        path = self._path(key)
        with _translated():
            try:
                found = path.stat()
            except (FileNotFoundError, NotADirectoryError):
                raise ObjectMissing(key) from None
            if not path.is_file():
                raise ObjectMissing(key)
            return ObjectInfo(key, found.st_size)

    def open(self, key: str, part: ByteRange | None = None) -> BinaryIO:
        """Open an object or a part of it."""
        path = self._path(key)
        with _translated():
            try:
                stream = builtins.open(path, "rb")  # noqa: SIM115 (the caller closes it)
            except (FileNotFoundError, IsADirectoryError, NotADirectoryError):
                raise ObjectMissing(key) from None
        if part is None:
            return stream
        return io.BufferedReader(_Part(stream, part))

    def fetch(self, key: str, path: Path) -> None:
        """Copy an object into a file."""
        with self.open(key) as source, path.open("wb") as target:
            shutil.copyfileobj(source, target, _COPY)

    def delete(self, key: str) -> None:
        """Remove an object and the folders it leaves empty."""
        path = self._path(key)
        with _translated():
            path.unlink(missing_ok=True)
            self._prune(path.parent)

    def delete_prefix(self, prefix: str) -> int:
        """Remove every object below a prefix."""
        keys = [info.key for info in self.list(prefix)]
        for key in keys:
            self.delete(key)
        return len(keys)

    def list(self, prefix: str = "") -> Iterator[ObjectInfo]:
        """Yield the objects below a prefix, in the order of their keys."""
        top = self._path(prefix) if prefix else self._root
        with _translated():
            paths = sorted(path for path in top.rglob("*") if path.is_file())
        for path in paths:
            if self._pending in path.parents:
                continue
            with suppress(FileNotFoundError):
                key = path.relative_to(self._root).as_posix()
                yield ObjectInfo(key, path.stat().st_size)

    def drop_unfinished(self, older_than: datetime) -> int:
        """Remove the temporary files of uploads that a crash cut off."""
        count = 0
        with _translated():
            for path in self._pending.glob("*"):
                with suppress(FileNotFoundError):
                    if path.stat().st_mtime < older_than.timestamp():
                        path.unlink()
                        count += 1
        return count

    def presign_upload(
        self, key: str, media_type: str, max_bytes: int, ttl_s: int
    ) -> PresignedUpload | None:
        """Return None: files are sent through the API."""
        return None

    def ping(self) -> None:
        """Check that bytes reach the disk below the folder, and that room is left."""
        with _translated():
            self._make_folders()
            with tempfile.TemporaryFile(dir=self._pending) as probe:
                probe.write(os.urandom(PROBE_BYTES))  # zeros might take no room
                probe.flush()
                os.fsync(probe.fileno())
        free = free_bytes(self._root)
        if free < self._least_free:
            raise ObjectStoreUnavailable(
                say(NoteCode.DISK_NEARLY_FULL, free=free >> 20, wanted=self._least_free >> 20)
            )

    def _make_folders(self) -> None:
        self._root.mkdir(0o700, parents=True, exist_ok=True)  # for this user alone
        self._pending.mkdir(exist_ok=True)

    def _path(self, key: str) -> Path:
        return self._root / checked_key(key)

    def _prune(self, folder: Path) -> None:
        while folder != self._root:
            try:
                folder.rmdir()
            except OSError:  # not empty, or another process was faster
                return
            folder = folder.parent


def free_bytes(folder: Path) -> int:
    """Return the room left on the disk of a folder for users without privileges, bytes."""
    found = os.statvfs(folder)
    return found.f_bavail * found.f_frsize


class _LocalUpload:
    def __init__(self, key: str, path: Path, pending: Path) -> None:
        self._key = key
        self._path = path
        descriptor, name = tempfile.mkstemp(dir=pending)
        self._file = os.fdopen(descriptor, "wb")
        self._name: Path | None = Path(name)

    def write(self, data: bytes) -> None:
        """Append bytes."""
        with _translated():
            self._file.write(data)

    def commit(self) -> ObjectInfo:
        """Flush to disk, rename into place, flush the folder."""
        if self._name is None:
            raise ValueError("upload already ended")
        with _translated():
            self._file.flush()
            os.fsync(self._file.fileno())
            size = self._file.tell()
            self._file.close()
            while True:
                self._path.parent.mkdir(parents=True, exist_ok=True)
                try:
                    os.replace(self._name, self._path)
                    break
                except FileNotFoundError:  # a delete pruned the empty folder in between
                    if not self._name.exists():
                        raise
            self._name = None
            folder = os.open(self._path.parent, os.O_RDONLY)
            try:
                os.fsync(folder)
            finally:
                os.close(folder)
        return ObjectInfo(self._key, size)

    def abort(self) -> None:
        """Remove the temporary file."""
        with suppress(OSError):  # closing writes what is buffered: a full disk is told already
            self._file.close()
        if self._name is not None:
            self._name.unlink(missing_ok=True)
            self._name = None


class _Part(io.RawIOBase):
    """A window on a file."""

    def __init__(self, stream: BinaryIO, part: ByteRange) -> None:
        self._stream = stream
        self._left = part.length
        stream.seek(part.first)

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: memoryview) -> int:  # type: ignore[override]
        data = self._stream.read(min(len(buffer), self._left))
        buffer[: len(data)] = data
        self._left -= len(data)
        return len(data)

    def close(self) -> None:
        self._stream.close()
        super().close()


@contextmanager
def _translated() -> Iterator[None]:
    """Turn disk errors into our error; let programming errors and missing objects through."""
    try:
        yield
    except OSError as error:
        if error.errno in (errno.ENOSPC, errno.EDQUOT):
            raise ObjectStoreUnavailable(say(NoteCode.OBJECT_STORE_FULL)) from error
        raise ObjectStoreUnavailable() from error
