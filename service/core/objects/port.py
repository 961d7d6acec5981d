"""The object-store port. Both adapters pass the same contract tests."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import BinaryIO, Protocol

_KEY = re.compile(r"^[A-Za-z0-9_][A-Za-z0-9._-]*(/[A-Za-z0-9_][A-Za-z0-9._-]*)*$")
MAX_KEY = 512
"""Longest key, characters."""


class ObjectMissing(KeyError):
    """There is no object under that key."""


@dataclass(frozen=True, slots=True)
class ObjectInfo:
    """What the store knows of an object."""

    key: str
    size_bytes: int
    media_type: str | None = None


@dataclass(frozen=True, slots=True)
class ByteRange:
    """Bytes ``first`` to ``last``, both included, counted from 0."""

    first: int
    last: int

    @property
    def length(self) -> int:
        """Number of bytes."""
        return self.last - self.first + 1


@dataclass(frozen=True, slots=True)
class PresignedUpload:
    """How a caller sends a file straight to the store: POST ``fields`` and then the file."""

    url: str
    fields: dict[str, str]
    expires_in_s: int


@dataclass(frozen=True, slots=True)
class PartArrived:
    """A part of a film that is in the store. ``tag``: what the store calls its content."""

    size_bytes: int
    tag: str


class Parts(Protocol):
    """Uploads in parts that callers send straight to the store.

    Methods raise :class:`ObjectMissing` where there is no such upload, or no longer.
    """

    def begin(self, key: str, media_type: str) -> str:
        """Begin an upload; return its id."""

    def sign(self, key: str, upload_id: str, number: int, size_bytes: int, ttl_s: int) -> str:
        """Return the address that a part of this size is PUT to."""

    def arrived(self, key: str, upload_id: str) -> dict[int, PartArrived]:
        """Return the parts that are there, by number."""

    def join(self, key: str, upload_id: str, parts: dict[int, PartArrived]) -> None:
        """Make one object of the parts; the upload ends."""

    def give_up(self, key: str, upload_id: str) -> None:
        """End an upload and throw away its parts."""


class Upload(Protocol):
    """An object being written piece by piece; invisible until :meth:`commit`."""

    def write(self, data: bytes) -> None:
        """Append bytes."""

    def commit(self) -> ObjectInfo:
        """Make the object visible, at once and whole."""

    def abort(self) -> None:
        """Throw away what was written. Harmless after a commit."""


class Objects(Protocol):
    """A store of immutable byte strings under slash-separated keys."""

    @property
    def parts(self) -> Parts | None:
        """Uploads in parts; None where callers cannot reach the store."""

    def upload(self, key: str, media_type: str) -> Upload:
        """Begin to write an object in constant memory."""

    def put_bytes(self, key: str, data: bytes, media_type: str) -> ObjectInfo:
        """Write a whole object from memory, replacing one of that key."""

    def stat(self, key: str) -> ObjectInfo:
        """Return size and type; :class:`ObjectMissing` when there is none."""

    def open(self, key: str, part: ByteRange | None = None) -> BinaryIO:
        """Open an object, or a part of it, for reading. Close it after use."""

    def fetch(self, key: str, path: Path) -> None:
        """Copy an object into a file."""

    def delete(self, key: str) -> None:
        """Remove an object. No error when there is none."""

    def delete_prefix(self, prefix: str) -> int:
        """Remove every object below ``prefix/``; return how many there were."""

    def list(self, prefix: str = "") -> Iterator[ObjectInfo]:
        """Yield the objects below ``prefix/`` (all when empty)."""

    def drop_unfinished(self, older_than: datetime) -> int:
        """Throw away uploads that were begun before and neither committed nor aborted."""

    def presign_upload(
        self, key: str, media_type: str, max_bytes: int, ttl_s: int
    ) -> PresignedUpload | None:
        """Return how to send a file straight to the store; None when that is not possible."""

    def ping(self) -> None:
        """Raise :class:`models.contract.errors.ObjectStoreUnavailable` unless it answers."""


def checked_key(key: str) -> str:
    """Return the key, or raise ``ValueError`` when it could leave the store or be ambiguous."""
    if len(key) > MAX_KEY or not _KEY.match(key) or ".." in key:
        raise ValueError(f"not a valid object key: {key!r}")
    return key
