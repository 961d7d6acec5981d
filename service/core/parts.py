"""One part of an upload on its way in: buffered, written piece by piece, counted. Constant memory.

Without a checksum each piece counts as soon as it is stored, so that what arrived before a
connection broke is kept. With one, nothing counts before all of the part has been judged.
"""

from __future__ import annotations

import hashlib
import hmac
from dataclasses import dataclass

from models.contract.errors import ChecksumMismatch, NotAVideo, PayloadTooLarge
from models.contract.note_codes import NoteCode, say
from service.core.containers import HEAD_BYTES, media_type_of
from service.core.resumable import Piece, ResumableUploads, check_offset
from service.core.tables import ResumableUpload

PART_BYTES = 4 * 1024**2
"""Bytes that are stored and counted at a time: what a killed server may lose of an upload, and half
of what a part takes of memory (working value)."""
ALGORITHMS = ("sha1", "sha256")
"""Checksums of parts that are known; the tus protocol asks for SHA-1 at least."""


@dataclass(frozen=True, slots=True)
class Checksum:
    """What a part is to come to."""

    algorithm: str
    digest: bytes


class PartWriter:
    """Use :meth:`add` for each piece of the body (cheap; True when :meth:`flush` is due), then
    :meth:`finish`; :meth:`cut` where the body ended too early.
    """

    def __init__(
        self,
        uploads: ResumableUploads,
        row: ResumableUpload,
        first: int,
        checksum: Checksum | None = None,
    ) -> None:
        check_offset(row, first)
        self._uploads = uploads
        self.row = row
        self._at = first
        self._checksum = checksum
        self._hash = hashlib.new(checksum.algorithm) if checksum is not None else None
        self._buffer = bytearray()
        self._stored: list[Piece] = []

    def add(self, data: bytes) -> bool:
        """Take bytes into the buffer; return whether it should be flushed now."""
        if self._at + len(self._buffer) + len(data) > self.row.length:
            raise PayloadTooLarge(say(NoteCode.UPLOAD_OVERFLOWS, length=self.row.length))
        self._buffer += data
        return len(self._buffer) >= PART_BYTES

    def flush(self) -> None:
        """Store what is in the buffer. Blocks."""
        if not self._buffer:
            return
        begins = self._at == 0 and len(self._buffer) >= HEAD_BYTES
        if begins and media_type_of(bytes(self._buffer[:HEAD_BYTES])) is None:
            raise NotAVideo()
        piece = bytes(self._buffer)
        self._buffer.clear()
        if self._hash is not None:
            self._hash.update(piece)
        stored = self._uploads.put(self.row, self._at, piece)
        self._at += stored.length
        if self._checksum is None:
            self.row = self._uploads.keep(self.row, [stored])
        else:
            self._stored.append(stored)

    def finish(self) -> ResumableUpload:
        """Store the rest, judge the part, and return the upload as it stands then. Blocks."""
        self.flush()
        if self._checksum is not None and self._hash is not None:
            if not hmac.compare_digest(self._hash.digest(), self._checksum.digest):
                self.cut()
                raise ChecksumMismatch()
            if self._stored:
                stored, self._stored = self._stored, []
                self.row = self._uploads.keep(self.row, stored)
        return self.row

    def cut(self) -> None:
        """Keep what arrived of a part that broke off; of one that cannot be judged, nothing."""
        if self._checksum is None:
            self.flush()
            return
        self._uploads.drop(self._stored)
        self._stored = []
