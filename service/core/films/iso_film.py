"""What is written over in ISO base media and QuickTime films (ISO/IEC 14496-12; QuickTime File
Format Specification, Apple, 2016): all but what plays.

Kept: brands, media data, sample tables, headers with rotation and edit lists, and the rate of
capture that slow motion needs. Written over: user data, metadata items, XMP and other ``uuid``
boxes, unused room, unknown boxes of makers, names of handlers, and tracks of neither picture nor
sound with all their samples (places are recorded in such tracks).
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from service.core.films.blanks import Blank, CannotBlank, Counter, Read, whole

FREE = b"free"
_TOP = frozenset(
    (b"ftyp", b"styp", b"sidx", b"ssix", b"mfra", b"moov", b"moof", b"mdat", b"pdin", b"prft")
)
_MOOV = frozenset((b"mvhd", b"trak", b"mvex", b"iods", b"pssh", b"clip", b"ctab"))
_TRAK = frozenset((b"tkhd", b"edts", b"mdia", b"tapt", b"clip", b"load", b"matt", b"txas"))
_MDIA = frozenset((b"mdhd", b"hdlr", b"minf", b"elng"))
_MOOF = frozenset((b"mfhd", b"traf"))
_TRAF = frozenset((b"tfhd", b"tfdt", b"trun", b"sbgp", b"sgpd", b"subs", b"saiz", b"saio", b"senc"))
_PLAYED = frozenset((b"vide", b"soun"))
_TABLES = frozenset((b"stsz", b"stz2", b"stsc", b"stco", b"co64"))
HANDLER_NAME = 24
"""Where the name begins in a handler box, bytes after the header."""


@dataclass(frozen=True, slots=True)
class Box:
    """A box: ``start`` of its header, ``body`` and ``end``, bytes."""

    kind: bytes
    start: int
    body: int
    end: int

    def emptied(self) -> Blank:
        """Return what makes it unused room of the same size."""
        return Blank(self.start + 4, self.end - self.start - 4, FREE + self._long())

    def _long(self) -> bytes:
        """Return the 64-bit size that stands between kind and body, if there is one."""
        if self.body - self.start < 16:
            return b""
        return struct.pack(">Q", self.end - self.start)


def blanks_of(read: Read, size: int, keep: Callable[[str], bool]) -> list[Blank]:
    """Return what is to be written over in a film.

    Parameters
    ----------
    size : int
        Of the file, bytes.
    keep : callable
        Whether a metadata item of this name stays.

    Raises
    ------
    CannotBlank
        The file cannot be walked, or places could lie where this does not reach.
    """
    return _Film(read, size, keep).blanks()


class _Film:
    def __init__(self, read: Read, size: int, keep: Callable[[str], bool]) -> None:
        self._read = read
        self._size = size
        self._keep = keep
        self._count = Counter()
        self._found: list[Blank] = []
        self._data: list[Box] = []
        self._samples: list[tuple[int, int]] = []
        self._fragments = False
        self._other_tracks = False

    def blanks(self) -> list[Blank]:
        top = list(self._boxes(0, self._size))
        if not any(box.kind == b"moov" for box in top):
            raise CannotBlank("no movie box")
        self._data = [box for box in top if box.kind == b"mdat"]
        for box in top:
            if box.kind == b"moov":
                self._inside(box, _MOOV, {b"trak": self._track})
            elif box.kind == b"moof":
                self._fragments = True
                inside_traf = {b"traf": lambda one: self._inside(one, _TRAF, {})}
                self._inside(box, _MOOF, inside_traf)
            elif box.kind not in _TOP:
                self._empty(box)
        if self._fragments and self._other_tracks:
            raise CannotBlank("a track of data in fragments")
        for first, stop in self._samples:
            for box in self._data:
                low, high = max(first, box.body), min(stop, box.end)
                if low < high:
                    self._found.append(Blank(low, high - low))
        return [one for one in self._found if self._differs(one)]

    def _boxes(self, start: int, end: int) -> Iterator[Box]:
        while end - start >= 8:
            self._count.one()
            head = whole(self._read, start, 8)
            length, kind, body = int.from_bytes(head[:4], "big"), head[4:], start + 8
            if length == 1:
                length = int.from_bytes(whole(self._read, body, 8), "big")
                body += 8
            elif length == 0 and end == self._size:
                length = end - start
            elif length == 0:  # the end of a list of user data
                return
            stop = start + length
            if stop > end and kind == b"mdat" and end == self._size:
                stop = end  # a film that was cut off
            if length < body - start or stop > end:
                raise CannotBlank("a box is longer than what it is in")
            yield Box(kind, start, body, stop)
            start = stop
        if end == self._size and start < end and any(whole(self._read, start, end - start)):
            raise CannotBlank("bytes after the last box")

    def _inside(
        self, box: Box, kept: frozenset[bytes], further: dict[bytes, Callable[[Box], None]]
    ) -> None:
        """Empty what is not kept in a box; look further into some of it."""
        for child in self._boxes(box.body, box.end):
            if child.kind == b"cmov":
                raise CannotBlank("a packed movie box")
            if child.kind in further:
                further[child.kind](child)
            elif child.kind in (b"meta", b"udta"):
                self._metadata(child)
            elif child.kind not in kept:
                self._empty(child)

    def _empty(self, box: Box) -> None:
        if box.end - box.start > 8:
            self._found.append(box.emptied())

    def _track(self, track: Box) -> None:
        kind: bytes = b""
        tables: dict[bytes, bytes] = {}
        for child in self._boxes(track.body, track.end):
            if child.kind == b"mdia":
                kind, tables = self._media(child)
        if kind in _PLAYED:
            self._inside(track, _TRAK, {b"mdia": self._playing})
            return
        self._other_tracks = True
        self._samples += _ranges(tables)
        self._empty(track)

    def _media(self, media: Box) -> tuple[bytes, dict[bytes, bytes]]:
        """Return the kind of a track's media and the tables that say where its samples lie."""
        kind: bytes = b""
        tables: dict[bytes, bytes] = {}
        for child in self._boxes(media.body, media.end):
            if child.kind == b"hdlr":
                kind = whole(self._read, child.body + 8, 4)
            elif child.kind == b"minf" and kind not in _PLAYED:
                for inner in self._boxes(child.body, child.end):
                    if inner.kind != b"stbl":
                        continue
                    for table in self._boxes(inner.body, inner.end):
                        if table.kind in _TABLES:
                            length = table.end - table.body
                            tables[table.kind] = whole(self._read, table.body, length)
        return kind, tables

    def _playing(self, media: Box) -> None:
        self._inside(media, _MDIA, {b"hdlr": self._name})

    def _name(self, handler: Box) -> None:
        first = handler.body + HANDLER_NAME
        if handler.end > first:
            self._found.append(Blank(first, handler.end - first))

    def _metadata(self, box: Box) -> None:
        """Empty metadata or user data but the items that stay; all of it where none does."""
        before = len(self._found)
        try:
            stays = self._items(box) if box.kind == b"meta" else self._user_data(box)
        except CannotBlank:
            stays = False
        if not stays:
            del self._found[before:]
            self._empty(box)

    def _user_data(self, box: Box) -> bool:
        """Empty all but metadata with items that stay; return whether there are any."""
        any_stays = False
        for child in list(self._boxes(box.body, box.end)):
            before = len(self._found)
            if child.kind == b"meta" and self._items(child):
                any_stays = True
            else:
                del self._found[before:]
                self._empty(child)
        return any_stays

    def _items(self, meta: Box) -> bool:
        """Empty the items of a metadata box but those that stay; return whether any does."""
        body = meta.body
        if meta.end - body >= 8 and whole(self._read, body + 4, 4) != b"hdlr":
            body += 4  # ISO: a full box; QuickTime: a plain one
        inside = {box.kind: box for box in self._boxes(body, meta.end)}
        keys, items = inside.get(b"keys"), inside.get(b"ilst")
        named = self._keys(keys) if keys is not None else {}
        if items is None or not any(self._keep(name) for _, name in named.values()):
            return False
        for place, name in named.values():
            if not self._keep(name):
                length = len(name.encode("utf-8", "surrogateescape"))
                self._found.append(Blank(place, length, b"x" * length))
        for item in self._boxes(items.body, items.end):
            stays = named.get(int.from_bytes(item.kind, "big"))
            if stays is None or not self._keep(stays[1]):
                self._empty(item)
        for kind, box in inside.items():
            if kind not in (b"hdlr", b"keys", b"ilst"):
                self._empty(box)
        return True

    def _keys(self, keys: Box) -> dict[int, tuple[int, str]]:
        """Return the names of metadata items by number, with where they stand."""
        found = {}
        for number, key in enumerate(self._boxes(keys.body + 8, keys.end), 1):
            name = whole(self._read, key.body, key.end - key.body)
            found[number] = (key.body, name.decode("utf-8", "surrogateescape"))
        return found

    def _differs(self, one: Blank) -> bool:
        """Tell whether anything is there yet."""
        wanted = one.data + bytes(min(one.length, 1 << 20) - len(one.data))
        if self._read(one.offset, len(wanted)) != wanted:
            return True
        done = len(wanted)
        while done < one.length:
            piece = self._read(one.offset + done, min(one.length - done, 1 << 20))
            if not piece or any(piece):
                return bool(piece)
            done += len(piece)
        return False


def _ranges(tables: dict[bytes, bytes]) -> list[tuple[int, int]]:
    """Return where the chunks of a track lie: first byte and the one after the last."""
    wide = b"co64" in tables
    offsets = _numbers(tables.get(b"co64") or tables.get(b"stco") or bytes(8), 4, 8 if wide else 4)
    sizes = _sizes(tables)
    runs = _numbers(tables.get(b"stsc") or bytes(8), 4, 4, columns=3)
    found, sample = [], 0
    for chunk, offset in enumerate(offsets, 1):
        while len(runs) >= 6 and chunk >= runs[3]:
            runs = runs[3:]
        many = runs[1] if runs else 0
        length = sizes(sample, many)
        found.append((offset, offset + length))
        sample += many
    return found


def _numbers(table: bytes, count_at: int, width: int, columns: int = 1) -> list[int]:
    """Return the numbers of a table whose count stands before them."""
    many = int.from_bytes(table[count_at : count_at + 4], "big") * columns
    body = table[count_at + 4 : count_at + 4 + many * width]
    if len(body) != many * width:
        raise CannotBlank("a table ends early")
    return list(struct.unpack(f">{many}{'Q' if width == 8 else 'I'}", body))


def _sizes(tables: dict[bytes, bytes]) -> Callable[[int, int], int]:
    """Return what tells the size of some samples: the first, how many."""
    if b"stz2" in tables:
        raise CannotBlank("packed sample sizes")
    table = tables.get(b"stsz") or bytes(12)
    same = int.from_bytes(table[4:8], "big")
    if same:
        return lambda _first, many: many * same
    each = _numbers(table, 8, 4)
    return lambda first, many: sum(each[first : first + many])
