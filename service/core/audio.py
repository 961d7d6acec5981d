"""Recognises a spoken message by its content, and takes out what its file tells besides sound.

MP4 (ISO/IEC 14496-12) and WebM that hold sound alone, Ogg (RFC 3533), MP3 and WAVE. What phones
write beside the sound (places, makers, names) goes; of Ogg the comments stay, which recorders fill
with their own name.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator

from models.contract.errors import UnsupportedMediaType
from models.contract.note_codes import NoteCode, say
from service.core.films import iso_film, matroska_film
from service.core.films.blanks import CannotBlank, written_over

MP4, WEBM, OGG, MP3, WAV = "audio/mp4", "audio/webm", "audio/ogg", "audio/mpeg", "audio/wav"
MOST_BYTES = 3 * 1024 * 1024
"""Largest voice file, bytes: about six minutes of speech at 64 kbit/s (working value). It stands in
pages as text, a third larger."""
_EBML = b"\x1a\x45\xdf\xa3"
_OGG_SOUND = (b"OpusHead", b"\x01vorbis", b"Speex   ", b"\x7fFLAC")
_WEBM_PICTURES = (b"V_VP8", b"V_VP9", b"V_AV1", b"V_MPEG", b"V_MS/", b"V_THEORA")
_PARENTS = frozenset((b"moov", b"trak", b"mdia"))
_SAMPLE_RATES = {3: (44100, 48000, 32000), 2: (22050, 24000, 16000), 0: (11025, 12000, 8000)}
"""Of MPEG audio by version bits (ISO/IEC 11172-3, 13818-3; version 2.5 as commonly used), hertz."""
_BIT_RATES = (
    (32, 40, 48, 56, 64, 80, 96, 112, 128, 160, 192, 224, 256, 320),
    (8, 16, 24, 32, 40, 48, 56, 64, 80, 96, 112, 128, 144, 160),
)
"""Of layer III by version 1 and versions 2 and 2.5, kbit/s."""


def voice_of(data: bytes) -> tuple[str, bytes]:
    """Return the media type of a voice file, and the file without what is not sound.

    Raises
    ------
    UnsupportedMediaType
        It is none of the kinds taken, holds pictures, or cannot be walked.
    """
    kind = audio_type(data)
    if kind is None:
        raise UnsupportedMediaType(say(NoteCode.VOICE_TYPE))
    if kind in (MP4, WEBM):
        walk = iso_film if kind == MP4 else matroska_film
        try:
            blanks = walk.blanks_of(lambda o, n: data[o : o + n], len(data), lambda _: False)
        except CannotBlank as error:
            raise UnsupportedMediaType(say(NoteCode.VOICE_TYPE)) from error
        data = b"".join(written_over(iter((data,)), blanks))
    elif kind == MP3:
        data = data[_after_tags(data) :]
        data = data[:-128] if data[-128:-125] == b"TAG" else data
    elif kind == WAV:
        data = _plain_wave(data)
    return kind, data


def audio_type(data: bytes) -> str | None:
    """Return the media type of sound by its content; None for anything else, films included."""
    if data[4:8] == b"ftyp":
        handlers = list(_handlers(data, 0, len(data)))
        return MP4 if b"soun" in handlers and b"vide" not in handlers else None
    if data.startswith(_EBML):
        sound = b"A_OPUS" in data or b"A_VORBIS" in data
        return WEBM if sound and not any(mark in data for mark in _WEBM_PICTURES) else None
    if data.startswith(b"OggS"):
        first = data[:4096]
        return OGG if any(mark in first for mark in _OGG_SOUND) and b"theora" not in first else None
    if data.startswith(b"RIFF") and data[8:12] == b"WAVE":
        return WAV if {name for name, _ in _chunks(data)} >= {b"fmt ", b"data"} else None
    start = _after_tags(data)
    length = _frame_length(data, start)
    # One frame header is two bytes that chance writes too: the next must follow.
    return MP3 if length and _frame_length(data, start + length) else None


def _handlers(data: bytes, start: int, end: int) -> Iterator[bytes]:
    """Yield what the tracks of an ISO file are of: ``soun``, ``vide``, …"""
    while start + 8 <= end:
        size, kind = struct.unpack_from(">I4s", data, start)
        body = start + 8
        if size == 1 and start + 16 <= end:
            (size,) = struct.unpack_from(">Q", data, body)
            body += 8
        size = size or end - start
        if size < 8 or start + size > end:
            return
        if kind in _PARENTS:
            yield from _handlers(data, body, start + size)
        elif kind == b"hdlr":
            yield data[body + 8 : body + 12]
        start += size


def _chunks(data: bytes) -> Iterator[tuple[bytes, bytes]]:
    at = 12
    while at + 8 <= len(data):
        name, size = struct.unpack_from("<4sI", data, at)
        yield name, data[at + 8 : at + 8 + size]
        at += 8 + size + size % 2


def _plain_wave(data: bytes) -> bytes:
    """Return a WAVE file with its format and its samples alone."""
    kept = b""
    for name, body in _chunks(data):
        if name in (b"fmt ", b"fact", b"data"):
            kept += struct.pack("<4sI", name, len(body)) + body + b"\0" * (len(body) % 2)
    return struct.pack("<4sI4s", b"RIFF", 4 + len(kept), b"WAVE") + kept


def _after_tags(data: bytes) -> int:
    """Return where sound begins after ID3v2 tags (id3.org, informal standard 2.4)."""
    at = 0
    while data[at : at + 3] == b"ID3" and len(data) >= at + 10:
        size = 0
        for byte in data[at + 6 : at + 10]:
            size = size << 7 | byte & 0x7F
        at += 10 + size
    return at


def _frame_length(data: bytes, at: int) -> int:
    """Return the length of a frame of MPEG audio layer III, bytes; 0 where there is none."""
    head = data[at : at + 4]
    if len(head) < 4 or head[0] != 0xFF or head[1] & 0xE0 != 0xE0:
        return 0
    version, layer = head[1] >> 3 & 3, head[1] >> 1 & 3
    rate, sampling = head[2] >> 4, head[2] >> 2 & 3
    if version == 1 or layer != 1 or rate in (0, 15) or sampling == 3:
        return 0
    first = version == 3
    bits = _BIT_RATES[0 if first else 1][rate - 1] * 1000
    return (144 if first else 72) * bits // _SAMPLE_RATES[version][sampling] + (head[2] >> 1 & 1)
