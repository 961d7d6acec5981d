"""The form of an API key: ``sw_ID_SECRET_CHECK``.

The secret is 32 random bytes, so one SHA-256 is enough to store it by; it is shown once. The check
digits let a typing error be told from an unknown key, and let scanners recognise a leaked key.
"""

from __future__ import annotations

import hashlib
import hmac
import re
import secrets
import zlib

_FORM = re.compile(r"^sw_([0-9a-f]{16})_([0-9a-f]{64})_([0-9a-f]{8})$")


def new_key_id() -> str:
    """Return a new id of a key: 8 random bytes."""
    return secrets.token_hex(8)


def new_secret() -> str:
    """Return a new secret: 32 random bytes."""
    return secrets.token_hex(32)


def key_text(key_id: str, secret: str) -> str:
    """Return a key as its owner gets it."""
    body = f"sw_{key_id}_{secret}"
    return f"{body}_{_check(body)}"


def parse_key(text: str) -> tuple[str, str] | None:
    """Return (id, secret) of a well-formed key, or None."""
    match = _FORM.match(text)
    if match is None:
        return None
    key_id, secret, check = match.groups()
    return (key_id, secret) if _check(f"sw_{key_id}_{secret}") == check else None


def digest_of(secret: str) -> str:
    """Return what a secret is stored by."""
    return hashlib.sha256(bytes.fromhex(secret)).hexdigest()


def seed_of(secret: str) -> bytes:
    """Return what keys made by a key are derived from; it does not lead back to the secret."""
    return hmac.digest(bytes.fromhex(secret), b"keys made by this key", hashlib.sha256)


def repeatable_secret(installation: bytes, seed: bytes, key_id: str, request: str) -> str:
    """Return the secret of a key that was made by a request which may be repeated.

    The repeat must be answered alike, and no secret is kept: so it follows (HMAC-SHA-256, RFC 2104)
    from a secret of the installation together with one that only the caller has. Neither suffices
    alone.
    """
    message = b"\x00".join((seed, key_id.encode(), request.encode()))
    return hmac.digest(installation, message, hashlib.sha256).hex()


def _check(body: str) -> str:
    return f"{zlib.crc32(body.encode()):08x}"
