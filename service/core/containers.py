"""Recognises film containers by their first bytes, whatever the name or header says."""

from __future__ import annotations

HEAD_BYTES = 64
"""First bytes of a film that tell what it is."""
_MOV_ATOMS = frozenset({b"moov", b"mdat", b"wide", b"free", b"skip", b"pnot"})
_EBML = b"\x1a\x45\xdf\xa3"


def media_type_of(head: bytes) -> str | None:
    """Return the media type of a film from its first bytes; None when it is none we take.

    ISO base media files begin with an ``ftyp`` box (ISO/IEC 14496-12), old QuickTime files with
    another atom; Matroska and WebM with the EBML mark (RFC 8794).
    """
    kind, brand = head[4:8], head[8:12]
    if kind == b"ftyp":
        return "video/quicktime" if brand == b"qt  " else "video/mp4"
    if kind in _MOV_ATOMS:
        return "video/quicktime"
    if head.startswith(_EBML):
        return "video/webm" if b"webm" in head else "video/x-matroska"
    return None
