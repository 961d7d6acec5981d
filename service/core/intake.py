"""Takes in a file piece by piece: counts, hashes, recognises, stores. Constant memory."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass

from models.contract.errors import (
    ClipTooLarge,
    DigestMismatch,
    InvalidRequest,
    NotAVideo,
    ServewrightError,
)
from models.contract.note_codes import NoteCode, say
from models.contract.resources import MetadataState
from service.core.containers import HEAD_BYTES, media_type_of
from service.core.films.cleaning import cleaned
from service.core.objects import Objects, Upload

PIECE_BYTES = 1 << 20
"""Bytes that are passed on at a time."""


@dataclass(frozen=True, slots=True)
class Received:
    """A file that lies whole in the object store."""

    sha256: str
    size_bytes: int
    media_type: str
    metadata: MetadataState | None = None
    """What became of metadata in a film."""


@dataclass(frozen=True, slots=True)
class Expected:
    """What kind of file is taken in.

    Attributes
    ----------
    recognise : callable
        Returns its media type from its first bytes; None when it is not of this kind.
    unknown, empty : callable
        Return the error for a file of another kind, and for one without a byte.
    too_large : callable
        Returns the error for one that has more bytes than this.
    clean : callable
        Takes out of the stored file what is not to be kept; returns what is stored then.
    """

    recognise: Callable[[bytes], str | None]
    unknown: Callable[[], ServewrightError]
    empty: Callable[[], ServewrightError]
    too_large: Callable[[int], ServewrightError]
    clean: Callable[[Objects, str, Received], Received] = lambda _objects, _key, file: file


FILM = Expected(
    recognise=media_type_of,
    unknown=NotAVideo,
    empty=lambda: NotAVideo(say(NoteCode.FILE_EMPTY)),
    too_large=lambda most: ClipTooLarge(say(NoteCode.FILE_TOO_LARGE, limit=most)),
    clean=cleaned,
)


class Intake:
    """One file on its way into the object store.

    Use :meth:`add` for each piece (cheap; True when :meth:`flush` is due), then :meth:`finish`.
    Always :meth:`abort` at the end: it does nothing after a commit.
    """

    def __init__(
        self, objects: Objects, key: str, max_bytes: int, expected: Expected = FILM
    ) -> None:
        self._expected = expected
        self._objects = objects
        self._key = key
        self._max = max_bytes
        self._buffer = bytearray()
        self._size = 0
        self._hash = hashlib.sha256()
        self._media_type: str | None = None
        self._upload: Upload | None = None

    def add(self, data: bytes) -> bool:
        """Take bytes into the buffer; return whether it should be flushed now."""
        self._size += len(data)
        if self._size > self._max:
            raise self._expected.too_large(self._max)
        self._buffer += data
        if self._media_type is None and len(self._buffer) >= HEAD_BYTES:
            self._recognise()
        return len(self._buffer) >= PIECE_BYTES

    def flush(self) -> None:
        """Hash and store what is in the buffer. Blocks."""
        if not self._buffer:
            return
        if self._media_type is None:
            self._recognise()
        if self._upload is None:
            assert self._media_type is not None
            self._upload = self._objects.upload(self._key, self._media_type)
        piece = bytes(self._buffer)
        self._buffer.clear()
        self._hash.update(piece)
        self._upload.write(piece)

    def finish(self, expected_sha256: frozenset[str] = frozenset()) -> Received:
        """Make the object visible, provided that every digest given is its own. Blocks.

        Digest and content are those of the file as it is stored: a film without its metadata.
        """
        if self._size == 0:
            raise self._expected.empty()
        self.flush()
        digest = self._hash.hexdigest()
        if any(expected != digest for expected in expected_sha256):
            raise DigestMismatch()
        assert self._upload is not None
        assert self._media_type is not None
        self._upload.commit()
        received = Received(digest, self._size, self._media_type)
        return self._expected.clean(self._objects, self._key, received)

    def abort(self) -> None:
        """Throw away what is not finished. Blocks."""
        if self._upload is not None:
            self._upload.abort()

    def _recognise(self) -> None:
        self._media_type = self._expected.recognise(bytes(self._buffer[:HEAD_BYTES]))
        if self._media_type is None:
            raise self._expected.unknown()


def checked_sha256(text: str) -> str:
    """Return a hexadecimal SHA-256 in lower case, or raise ``InvalidRequest``."""
    value = text.strip().lower()
    if len(value) != 64 or not set(value) <= set("0123456789abcdef"):
        raise InvalidRequest(say(NoteCode.SHA256_FORM), pointer="/sha256")
    return value
