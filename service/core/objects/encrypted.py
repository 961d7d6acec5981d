"""Objects in a local folder, encrypted at rest with keys from a file.

Each object: a header (mark, id of the key, 16 random bytes), then pieces of 64 KiB, each sealed by
AES-256-GCM with a key of the object's own (HKDF, RFC 5869) and a nonce of its number and whether it
is the last (the STREAM construction: Hoang, Reyhanitabar, Rogaway, Vizár 2015,
doi:10.1007/978-3-662-47989-6_24), bound to the object's name. So ranges can be read, and pieces
can neither be exchanged, moved to another object nor cut off. Objects from before there was a key
are read as they are, until :meth:`EncryptedObjects.seal_all`.
"""

from __future__ import annotations

import hashlib
import io
import os
import shutil
from collections.abc import Iterator, Sequence
from datetime import datetime
from pathlib import Path
from typing import BinaryIO

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF

from models.contract.errors import ObjectStoreUnavailable
from models.contract.note_codes import NoteCode, say
from service.core.objects.key_file import KEY_BYTES
from service.core.objects.local import LocalObjects
from service.core.objects.port import ByteRange, ObjectInfo, PresignedUpload, Upload

MARK = b"SWSEALED"
"""First bytes of a sealed object; no film, picture, JSON or archive begins so."""
_SALT = 16
"""Random bytes of each object."""
_HEADER = len(MARK) + 8 + _SALT
"""Bytes before the first piece: mark, id of the key, salt."""
PIECE = 64 * 1024
"""Bytes of an object that are sealed together (working value): what a small range costs."""
_TAG = 16
"""Bytes that sealing adds to a piece (NIST SP 800-38D)."""
_COPY = 1 << 20
"""Bytes that are copied at a time."""


def key_id(key: bytes) -> bytes:
    """Return what names a key in objects: the first 8 bytes of its SHA-256."""
    return hashlib.sha256(key).digest()[:8]


class EncryptedObjects:
    """A local folder whose objects are sealed.

    Parameters
    ----------
    keys : sequence of bytes
        32 bytes each: the first seals what is written, all open what is read.
    """

    parts: None = None
    """Nobody but the service reaches the folder."""

    def __init__(self, inner: LocalObjects, keys: Sequence[bytes]) -> None:
        self._inner = inner
        self._keys = {key_id(key): key for key in keys}
        self._first = key_id(keys[0])

    def upload(self, key: str, media_type: str) -> Upload:
        """Begin to write an object."""
        salt = os.urandom(_SALT)
        sealer = _Sealer(self._keys[self._first], salt, key)
        return _SealedUpload(self._inner.upload(key, media_type), self._first + salt, sealer)

    def put_bytes(self, key: str, data: bytes, media_type: str) -> ObjectInfo:
        """Write a whole object from memory."""
        upload = self.upload(key, media_type)
        try:
            upload.write(data)
            return upload.commit()
        finally:
            upload.abort()

    def stat(self, key: str) -> ObjectInfo:
        """Return the size of an object as it was written."""
        stored = self._inner.stat(key).size_bytes
        with self._inner.open(key) as stream:
            sealed = stream.read(len(MARK)) == MARK
        return ObjectInfo(key, _plain_size(stored) if sealed else stored)

    def open(self, key: str, part: ByteRange | None = None) -> BinaryIO:
        """Open an object or a part of it."""
        stored = self._inner.stat(key).size_bytes
        stream = self._inner.open(key)
        header = stream.read(_HEADER)
        if not header.startswith(MARK):
            stream.close()
            return self._inner.open(key, part)
        name, salt = header[len(MARK) : len(MARK) + 8], header[len(MARK) + 8 :]
        if name not in self._keys:
            stream.close()
            raise ObjectStoreUnavailable(say(NoteCode.OBJECT_KEY_UNKNOWN, key=name.hex()))
        size = _plain_size(stored)
        window = part or ByteRange(0, size - 1)
        sealer = _Sealer(self._keys[name], salt, key)
        return io.BufferedReader(_Opened(stream, sealer, size, window), PIECE)

    def fetch(self, key: str, path: Path) -> None:
        """Copy an object into a file, as it was written."""
        with self.open(key) as source, path.open("wb") as target:
            shutil.copyfileobj(source, target, _COPY)

    def delete(self, key: str) -> None:
        """Remove an object and the folders it leaves empty."""
        self._inner.delete(key)

    def delete_prefix(self, prefix: str) -> int:
        """Remove every object below a prefix."""
        return self._inner.delete_prefix(prefix)

    def list(self, prefix: str = "") -> Iterator[ObjectInfo]:
        """Yield the objects below a prefix, in the order of their keys."""
        return (self.stat(info.key) for info in self._inner.list(prefix))

    def drop_unfinished(self, older_than: datetime) -> int:
        """Remove the temporary files of uploads that a crash cut off."""
        return self._inner.drop_unfinished(older_than)

    def presign_upload(
        self, key: str, media_type: str, max_bytes: int, ttl_s: int
    ) -> PresignedUpload | None:
        """Return None: films are sent through the API."""
        return None

    def ping(self) -> None:
        """Check that bytes reach the disk below the folder, and that room is left."""
        self._inner.ping()

    def seal_all(self) -> int:
        """Write every object anew that the first key has not sealed; return how many."""
        wanted = MARK + self._first
        sealed = 0
        for info in self._inner.list():
            with self._inner.open(info.key) as stream:
                if stream.read(len(wanted)) == wanted:
                    continue
            upload = self.upload(info.key, "application/octet-stream")
            try:
                with self.open(info.key) as source:
                    while data := source.read(_COPY):
                        upload.write(data)
                upload.commit()
            finally:
                upload.abort()
            sealed += 1
        return sealed


def _pieces(size: int) -> int:
    """Return into how many pieces an object of this size is sealed; an empty one into one."""
    return max(1, -(-size // PIECE))


def _plain_size(stored: int) -> int:
    """Return the size of what was written from that of the sealed file."""
    body = max(0, stored - _HEADER)
    return body - _TAG * max(1, -(-body // (PIECE + _TAG)))


class _Sealer:
    """Seals and opens the pieces of one object."""

    def __init__(self, key: bytes, salt: bytes, name: str) -> None:
        own = HKDF(SHA256(), KEY_BYTES, salt, b"servewright object").derive(key)
        self._cipher = AESGCM(own)
        self._name = name.encode()

    def seal(self, number: int, last: bool, data: bytes) -> bytes:
        return self._cipher.encrypt(self._nonce(number, last), data, self._name)

    def unseal(self, number: int, last: bool, data: bytes) -> bytes:
        try:
            return self._cipher.decrypt(self._nonce(number, last), data, self._name)
        except InvalidTag as error:
            raise ObjectStoreUnavailable(say(NoteCode.OBJECT_DAMAGED)) from error

    @staticmethod
    def _nonce(number: int, last: bool) -> bytes:
        return number.to_bytes(11, "big") + bytes((last,))


class _SealedUpload:
    def __init__(self, inner: Upload, head: bytes, sealer: _Sealer) -> None:
        self._inner = inner
        self._sealer = sealer
        self._held = bytearray()
        self._number = 0
        self._size = 0
        inner.write(MARK + head)

    def write(self, data: bytes) -> None:
        """Append bytes; a piece is sealed once it is known that another follows."""
        self._held += data
        self._size += len(data)
        while len(self._held) > PIECE:
            self._seal(bytes(self._held[:PIECE]), last=False)
            del self._held[:PIECE]

    def commit(self) -> ObjectInfo:
        """Seal the last piece and make the object visible."""
        self._seal(bytes(self._held), last=True)
        return ObjectInfo(self._inner.commit().key, self._size)

    def abort(self) -> None:
        """Throw away what was written. Harmless after a commit."""
        self._inner.abort()

    def _seal(self, data: bytes, *, last: bool) -> None:
        self._inner.write(self._sealer.seal(self._number, last, data))
        self._number += 1


class _Opened(io.RawIOBase):
    """A window on a sealed object."""

    def __init__(self, stream: BinaryIO, sealer: _Sealer, size: int, window: ByteRange) -> None:
        self._stream = stream
        self._sealer = sealer
        self._pieces = _pieces(size)
        self._at = window.first
        self._end = min(window.last + 1, size)
        self._number = -1
        self._piece = b""
        if self._at >= self._end:
            self._load(self._pieces - 1)  # an empty object is checked too

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: memoryview) -> int:  # type: ignore[override]
        if self._at >= self._end:
            return 0
        number, offset = divmod(self._at, PIECE)
        if number != self._number:
            self._load(number)
        data = self._piece[offset : offset + min(len(buffer), self._end - self._at)]
        if not data:
            raise ObjectStoreUnavailable(say(NoteCode.OBJECT_DAMAGED))
        buffer[: len(data)] = data
        self._at += len(data)
        return len(data)

    def close(self) -> None:
        self._stream.close()
        super().close()

    def _load(self, number: int) -> None:
        self._stream.seek(_HEADER + number * (PIECE + _TAG))
        sealed = self._stream.read(PIECE + _TAG)
        self._piece = self._sealer.unseal(number, number == self._pieces - 1, sealed)
        self._number = number
