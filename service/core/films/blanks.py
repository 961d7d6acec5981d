"""What is taken out of a film's file: bytes written over in place, so that nothing else moves.

Pictures, sounds, times, edit lists and rotation stay byte for byte where they are; a remux would
write them anew, and read hostile bytes with a decoder outside its walls.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

Read = Callable[[int, int], bytes]
"""Returns bytes of a file: offset, length; fewer at its end."""
MOST_PARTS = 200_000
"""Boxes or elements that are looked at (working value): a film of an hour in clusters of a
second has 3,600, and a hostile file must end."""
MOST_TABLE = 64 << 20
"""Largest table that is read at once, bytes (working value)."""


class CannotBlank(Exception):
    """The file is not built as its standard says, or holds what cannot be written over."""


@dataclass(frozen=True, slots=True)
class Blank:
    """Bytes that are written over. ``data``: with what, at the beginning; zeros follow."""

    offset: int
    length: int
    data: bytes = b""


class Counter:
    """Counts parts of a file; too many are no film."""

    def __init__(self) -> None:
        self._left = MOST_PARTS

    def one(self) -> None:
        """Count one part."""
        self._left -= 1
        if self._left < 0:
            raise CannotBlank("too many parts")


def whole(read: Read, offset: int, length: int) -> bytes:
    """Return exactly so many bytes."""
    if length > MOST_TABLE:
        raise CannotBlank("a table is too large")
    found = read(offset, length)
    if len(found) != length:
        raise CannotBlank("the file ends early")
    return found


def written_over(pieces: Iterator[bytes], blanks: list[Blank]) -> Iterator[bytes]:
    """Yield the pieces of a file with what is to go written over.

    Parameters
    ----------
    blanks : list
        In any order; where two overlap, zeros win.
    """
    waiting = sorted(blanks, key=lambda one: one.offset)
    start = 0
    for piece in pieces:
        end = start + len(piece)
        touched = [one for one in waiting if one.offset < end]
        if touched:
            changed = bytearray(piece)
            for one in touched:
                for first, data in ((one.offset, one.data), (one.offset + len(one.data), None)):
                    stop = one.offset + (one.length if data is None else len(data))
                    low, high = max(first, start), min(stop, end)
                    if low < high:
                        new = data[low - first : high - first] if data else bytes(high - low)
                        changed[low - start : high - start] = new
            waiting = [one for one in waiting if one.offset + one.length > end]
            piece = bytes(changed)
        yield piece
        start = end
