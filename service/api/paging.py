"""Opaque page cursors, signed so that they cannot be made up, and the Link header (RFC 8288)."""

from __future__ import annotations

import base64
import hashlib
import hmac
import json
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from typing import Any
from urllib.parse import urlencode

from models.contract.errors import InvalidCursor
from service.core.keyset import Position

_TAG_BYTES = 12
"""Bytes of the authentication tag of a cursor: 96 bits, as in RFC 2404 (from memory)."""
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def encode_cursor(secret: bytes, scope: str, filters: Mapping[str, Any], at: Position) -> str:
    """Return a cursor that is good for this list, these filters, and nothing else."""
    micros = (at.created_at - _EPOCH) // timedelta(microseconds=1)
    body = json.dumps([micros, at.id], separators=(",", ":")).encode()
    return _text(_tag(secret, scope, filters, body) + body)


def decode_cursor(secret: bytes, scope: str, filters: Mapping[str, Any], text: str) -> Position:
    """Return where a cursor points. Raises ``InvalidCursor`` for any other text."""
    try:
        raw = base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))
    except ValueError:
        raise InvalidCursor() from None
    tag, body = raw[:_TAG_BYTES], raw[_TAG_BYTES:]
    if not hmac.compare_digest(tag, _tag(secret, scope, filters, body)) or _text(raw) != text:
        raise InvalidCursor()
    micros, row_id = json.loads(body)
    return Position(_EPOCH + timedelta(microseconds=micros), row_id)


def next_link(path: str, filters: Mapping[str, Any], limit: int, cursor: str) -> str:
    """Return the Link header of the next page."""
    query = {name: value for name, value in filters.items() if value is not None}
    target = f"{path}?{urlencode({**query, 'limit': limit, 'cursor': cursor})}"
    return f'<{target}>; rel="next"'


def _tag(secret: bytes, scope: str, filters: Mapping[str, Any], body: bytes) -> bytes:
    kept = sorted((name, str(value)) for name, value in filters.items() if value is not None)
    bound = json.dumps([scope, kept]).encode() + b"\x00" + body
    return hmac.digest(secret, bound, hashlib.sha256)[:_TAG_BYTES]


def _text(raw: bytes) -> str:
    return base64.urlsafe_b64encode(raw).rstrip(b"=").decode()
