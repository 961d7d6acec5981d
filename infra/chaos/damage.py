"""Ways to damage a film file, each by a name and a seeded generator."""

from __future__ import annotations

import struct
from collections.abc import Callable

import numpy as np

ATOMS = (
    b"ftyp", b"moov", b"mvhd", b"trak", b"tkhd", b"mdia", b"mdhd", b"hdlr", b"minf", b"stbl",
    b"stsd", b"avcC", b"stts", b"ctts", b"stss", b"stsz", b"stsc", b"stco", b"elst", b"mdat",
)  # fmt: skip
"""Boxes of ISO/IEC 14496-12 and -15 that a film from a phone has."""
LIES = (0, 1, 7, 8, 2**31 - 1, 2**31, 2**32 - 1)
"""Sizes and counts that programs have been known to believe."""

Mutator = Callable[[bytes, bytes, np.random.Generator], bytes]
"""Takes a film, another film and a generator; returns a damaged film."""


def truncated(film: bytes, _other: bytes, dice: np.random.Generator) -> bytes:
    """Cut off somewhere."""
    return film[: int(dice.integers(32, len(film)))]


def flipped(film: bytes, _other: bytes, dice: np.random.Generator) -> bytes:
    """Flip bits anywhere."""
    changed = bytearray(film)
    for at in dice.integers(32, len(film), dice.integers(1, 60)):
        changed[at] ^= 1 << int(dice.integers(8))
    return bytes(changed)


def flipped_index(film: bytes, _other: bytes, dice: np.random.Generator) -> bytes:
    """Flip bits where the index is."""
    changed = bytearray(film)
    start = max(32, film.find(b"moov"))
    end = min(len(film), start + 2500)
    for at in dice.integers(min(start, end - 1), end, dice.integers(1, 12)):
        changed[at] ^= 1 << int(dice.integers(8))
    return bytes(changed)


def noisy(film: bytes, _other: bytes, dice: np.random.Generator) -> bytes:
    """Replace a run of bytes by noise or by zeros."""
    start = int(dice.integers(32, len(film)))
    length = min(int(dice.integers(1, 6000)), len(film) - start)
    run = dice.integers(0, 256, length, dtype=np.uint8).tobytes()
    return film[:start] + (run if dice.random() < 0.5 else bytes(length)) + film[start + length :]


def spliced(film: bytes, other: bytes, dice: np.random.Generator) -> bytes:
    """Go on with another film from somewhere."""
    return film[: int(dice.integers(32, len(film)))] + other[int(dice.integers(len(other))) :]


def foreign_index(film: bytes, other: bytes, _dice: np.random.Generator) -> bytes:
    """Take the pictures of one film and the index of another."""
    mine, theirs = film.find(b"moov"), other.find(b"moov")
    if mine < 4 or theirs < 4:
        return film[: len(film) // 2] + other[len(other) // 2 :]
    size, theirs_size = _size_at(film, mine), _size_at(other, theirs)
    return film[: mine - 4] + other[theirs - 4 : theirs - 4 + theirs_size] + film[mine - 4 + size :]


def lying(film: bytes, _other: bytes, dice: np.random.Generator) -> bytes:
    """Let a box lie about its size, or a table about its length."""
    places = [at for at in (film.find(name) for name in ATOMS[1:]) if at >= 4]
    changed = bytearray(film)
    for at in dice.choice(places, min(len(places), int(dice.integers(1, 3)))) if places else []:
        lie = int(dice.choice(LIES)) if dice.random() < 0.7 else int(dice.integers(2**24))
        offset = int(at) - 4 if dice.random() < 0.5 else int(at) + 8
        changed[offset : offset + 4] = struct.pack(">I", lie)
    return bytes(changed)


def renamed(film: bytes, _other: bytes, dice: np.random.Generator) -> bytes:
    """Give a box the name of another."""
    names = [name for name in ATOMS[1:] if name in film]
    if len(names) < 2:
        return film[: len(film) // 3]
    one, another = dice.choice(len(names), 2, replace=False)
    return film.replace(names[one], names[another], 1)


def repeated(film: bytes, _other: bytes, dice: np.random.Generator) -> bytes:
    """Have a stretch twice, so that all that follows has moved."""
    start, end = sorted(int(at) for at in dice.integers(32, len(film), 2))
    return film[:end] + film[start:]


MUTATORS: dict[str, Mutator] = {
    one.__name__: one
    for one in (
        truncated, flipped, flipped_index, noisy, spliced, foreign_index, lying, renamed, repeated,
    )
}  # fmt: skip


def _size_at(film: bytes, name_at: int) -> int:
    return int.from_bytes(film[name_at - 4 : name_at], "big")
