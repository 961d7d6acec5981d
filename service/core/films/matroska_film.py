"""What is written over in Matroska and WebM films (RFC 9559; RFC 8794 for the elements): tags,
attachments, chapters, titles and names, and elements that are not known.

Blocks, cues and headers stay where they are; what goes becomes a Void element of the same size.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from service.core.films.blanks import Blank, CannotBlank, Counter, Read, whole

_SEGMENT, _CLUSTER, _INFO, _TRACKS, _TAGS = (
    0x18538067,
    0x1F43B675,
    0x1549A966,
    0x1654AE6B,
    0x1254C367,
)
"""Ids of elements (RFC 9559, 5), as those below."""
_HEAD, _SEEK, _CUES, _VOID, _CRC = 0x1A45DFA3, 0x114D9B74, 0x1C53BB6B, 0xEC, 0xBF
"""EBML header, SeekHead, Cues, Void, CRC-32."""
_IN_CLUSTER = frozenset((0xE7, 0xA3, 0xA0, 0xA7, 0xAB, 0x5854, 0xAF))
"""Timestamp, SimpleBlock, BlockGroup, Position, PrevSize, SilentTracks, EncryptedBlock."""
_NAMES = frozenset((0x7BA9, 0x7384, 0x3C83AB, 0x3E83BB, 0x536E))
"""Title, SegmentFilename, PrevFilename, NextFilename; Name of a track."""
_TRACK, _TRACK_TYPE = 0xAE, 0x83
"""TrackEntry, TrackType."""
_PLAYED = frozenset((1, 2))
"""Types of tracks: pictures, sound."""
_TAG, _SIMPLE, _TAG_NAME = 0x7373, 0x67C8, 0x45A3
"""Tag, SimpleTag, TagName."""


@dataclass(frozen=True, slots=True)
class Element:
    """An element: ``start`` of its id, ``body`` and ``end``, bytes. ``open``: of unknown size."""

    id: int
    start: int
    body: int
    end: int
    open: bool = False

    def emptied(self) -> Blank:
        """Return what makes it a Void element of the same size."""
        length = self.end - self.start
        if length < 9:
            head = bytes((_VOID, 0x80 | (length - 2)))
        else:
            head = bytes((_VOID, 1)) + (length - 9).to_bytes(7, "big")
        return Blank(self.start, length, head)


def blanks_of(read: Read, size: int, keep: Callable[[str], bool]) -> list[Blank]:
    """Return what is to be written over in a film, as ``iso_film.blanks_of`` does."""
    return _Film(read, size, keep).blanks()


class _Film:
    def __init__(self, read: Read, size: int, keep: Callable[[str], bool]) -> None:
        self._read = read
        self._size = size
        self._keep = keep
        self._count = Counter()
        self._found: list[Blank] = []

    def blanks(self) -> list[Blank]:
        at, tracks = 0, False
        while at < self._size:
            one = self._element(at, self._size)
            at = one.end
            if one.id in (_SEGMENT, _CLUSTER) and (one.open or one.id == _SEGMENT):
                at = one.body  # what is in it is looked at as if it stood here
            elif one.id in (_INFO, _TRACKS):
                tracks |= one.id == _TRACKS
                self._names(one)
            elif one.id == _TAGS:
                self._tags(one)
            elif one.id not in (_HEAD, _CLUSTER, _SEEK, _CUES) and one.id not in _IN_CLUSTER:
                self._empty(one)
        if not tracks:
            raise CannotBlank("no tracks")
        return self._found

    def _element(self, at: int, end: int) -> Element:
        self._count.one()
        head = self._read(at, 12)
        width = _width(head[:1], 4)
        length_width = _width(head[width : width + 1], 8)
        body = at + width + length_width
        if len(head) < width + length_width:
            raise CannotBlank("the file ends early")
        raw = int.from_bytes(head[width : width + length_width], "big")
        length = raw & ((1 << (7 * length_width)) - 1)
        unknown = length == (1 << (7 * length_width)) - 1
        number = int.from_bytes(head[:width], "big")
        stop = end if unknown else body + length
        if stop > end and number in (_SEGMENT, _CLUSTER):
            stop = end  # a film that was cut off
        if stop > end or (unknown and number not in (_SEGMENT, _CLUSTER)):
            raise CannotBlank("an element is longer than what it is in")
        return Element(number, at, body, stop, unknown)

    def _inside(self, one: Element) -> list[Element]:
        found, at = [], one.body
        while at < one.end:
            found.append(self._element(at, one.end))
            at = found[-1].end
        return found

    def _empty(self, one: Element) -> None:
        blank = one.emptied()
        if one.id == _VOID and not any(self._bytes(one)):
            return
        self._found.append(blank)

    def _bytes(self, one: Element) -> bytes:
        return whole(self._read, one.body, one.end - one.body)

    def _names(self, master: Element) -> None:
        for one in self._inside(master):
            if one.id == _TRACK:
                kinds = [
                    int.from_bytes(self._bytes(inner), "big")
                    for inner in self._inside(one)
                    if inner.id == _TRACK_TYPE
                ]
                if not _PLAYED.issuperset(kinds):
                    raise CannotBlank("a track of data")
                self._names(one)
            elif one.id in _NAMES or one.id in (_VOID, _CRC):
                self._empty(one)

    def _tags(self, tags: Element) -> None:
        for tag in self._inside(tags):
            if tag.id != _TAG:
                self._empty(tag)
                continue
            for one in self._inside(tag):
                if one.id == _SIMPLE and not self._stays(one):
                    self._empty(one)

    def _stays(self, simple: Element) -> bool:
        names = [self._bytes(one) for one in self._inside(simple) if one.id == _TAG_NAME]
        return any(self._keep(name.decode("utf-8", "replace")) for name in names)


def _width(first: bytes, most: int) -> int:
    """Return how many bytes a number of variable length takes (RFC 8794, 4)."""
    if not first or not first[0]:
        raise CannotBlank("no element")
    width = 9 - first[0].bit_length()
    if width > most:
        raise CannotBlank("no element")
    return width
