"""The secret part of an address that works without a key: ``base64url(id, secret, signature)``.

The signature, made with a secret of the installation, tells a made-up address from one that was
given out without a look into the database; the digest of the secret, which alone is stored, tells
the rest.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import hmac

_ID_BYTES, _SECRET_BYTES, _TAG_BYTES = 16, 32, 12
"""The tag has 96 bits, as in RFC 2404 (from memory)."""
TOKEN_PATTERN = r"^[A-Za-z0-9_-]{80}$"
PREFIXES = {"i": "lnk", "s": "shr"}
"""First part of the path, and the prefix of the ids of its links."""


def link_text(installation: bytes, link_id: str, secret: str) -> str:
    """Return the secret part of the address of a link."""
    prefix, _, digits = link_id.partition("_")
    body = bytes.fromhex(digits) + bytes.fromhex(secret)
    return base64.urlsafe_b64encode(body + _tag(installation, prefix, body)).decode()


def read_link_text(installation: bytes, kind: str, text: str) -> tuple[str, str] | None:
    """Return (id, secret) of the address of a link of this kind; None for any other text."""
    try:
        raw = base64.urlsafe_b64decode(text.encode("ascii"))
    except (binascii.Error, ValueError):
        return None
    body, tag = raw[:-_TAG_BYTES], raw[-_TAG_BYTES:]
    prefix = PREFIXES[kind]
    if len(raw) != _ID_BYTES + _SECRET_BYTES + _TAG_BYTES:
        return None
    if not hmac.compare_digest(tag, _tag(installation, prefix, body)):
        return None
    return f"{prefix}_{body[:_ID_BYTES].hex()}", body[_ID_BYTES:].hex()


def _tag(installation: bytes, prefix: str, body: bytes) -> bytes:
    return hmac.digest(installation, prefix.encode() + b"\x00" + body, hashlib.sha256)[:_TAG_BYTES]
