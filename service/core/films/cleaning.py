"""Takes places, makers and everything else that does not play out of a film that has come in."""

from __future__ import annotations

import hashlib
import logging
from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING

from models.contract.resources import MetadataState
from service.core.films import iso_film, matroska_film
from service.core.films.blanks import CannotBlank, written_over
from service.core.objects import ByteRange, Objects

if TYPE_CHECKING:
    from service.core.intake import Received

logger = logging.getLogger(__name__)
_PIECE = 1 << 20
"""Bytes that are copied at a time."""
_WINDOW = 64 * 1024
"""Bytes that are fetched for a look at a few of them (working value)."""
KEPT_NAMES = frozenset(
    (
        "com.android.capture.fps",
        "com.apple.quicktime.capture-rate",
        "com.apple.quicktime.camera.framereatepersecond",
    )
)
"""Metadata that slow motion needs: the names that ``workers.video.capture_fps`` reads."""


def cleaned(objects: Objects, key: str, film: Received) -> Received:
    """Write a stored film anew without its metadata; the same film always gives the same bytes.

    Returns
    -------
    Received
        What is stored now, with ``metadata`` set: ``kept`` where the file cannot be walked, which
        the clip then says.
    """
    reader = _Reader(objects, key, film.size_bytes)
    walk = matroska_film if film.media_type in ("video/webm", "video/x-matroska") else iso_film
    try:
        blanks = walk.blanks_of(reader.read, film.size_bytes, _kept)
    except CannotBlank as error:
        logger.warning("%s keeps its metadata: %s", key, error)
        return replace(film, metadata=MetadataState.KEPT)
    if not blanks:
        return replace(film, metadata=MetadataState.NONE)
    digest = hashlib.sha256()
    upload = objects.upload(key, film.media_type)
    try:
        for piece in written_over(_pieces(objects, key), blanks):
            digest.update(piece)
            upload.write(piece)
        # Else a bucket that keeps versions kept it as it came. No row names the film yet: cut off
        # here, it is sent again.
        objects.delete(key)
        upload.commit()
    finally:
        upload.abort()
    return replace(film, sha256=digest.hexdigest(), metadata=MetadataState.REMOVED)


def _kept(name: str) -> bool:
    return name.lower() in KEPT_NAMES


def _pieces(objects: Objects, key: str) -> Iterator[bytes]:
    with objects.open(key) as stream:
        while piece := stream.read(_PIECE):
            yield piece


class _Reader:
    """Looks at places of an object; what was fetched last is kept."""

    def __init__(self, objects: Objects, key: str, size: int) -> None:
        self._objects = objects
        self._key = key
        self._size = size
        self._start = 0
        self._held = b""

    def read(self, offset: int, length: int) -> bytes:
        """Return bytes from an offset on; fewer at the end."""
        stop = min(offset + length, self._size)
        if offset >= stop:
            return b""
        if not self._start <= offset or stop > self._start + len(self._held):
            last = min(max(stop, offset + _WINDOW), self._size) - 1
            with self._objects.open(self._key, ByteRange(offset, last)) as stream:
                self._held = stream.read()
            self._start = offset
        return self._held[offset - self._start : stop - self._start]
