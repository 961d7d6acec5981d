"""Identifiers: a readable prefix and a UUID version 7 (RFC 9562), which sorts by time."""

from __future__ import annotations

import re
import secrets
import time
from datetime import UTC, datetime, timedelta

PATTERN = r"^[a-z]{2,10}_[0-9a-f]{32}$"
_PATTERN = re.compile(PATTERN)


def uuid7_hex(milliseconds: int, random: int) -> str:
    """Return a UUIDv7 as 32 hexadecimal digits.

    Parameters
    ----------
    milliseconds : int
        Unix time, 48 bits.
    random : int
        At least 74 random bits; more are cut off.
    """
    rand_a = random >> 62 & 0xFFF
    rand_b = random & (1 << 62) - 1
    value = (milliseconds & (1 << 48) - 1) << 80 | 0x7 << 76 | rand_a << 64 | 0b10 << 62 | rand_b
    return f"{value:032x}"


def new_id(kind: str) -> str:
    """Return a new identifier, such as ``clip_0198…``."""
    return f"{kind}_{uuid7_hex(time.time_ns() // 1_000_000, secrets.randbits(74))}"


def made_at(identifier: str) -> datetime:
    """Return when an identifier was made, to the millisecond."""
    milliseconds = int(identifier.rpartition("_")[2][:12], 16)
    return datetime(1970, 1, 1, tzinfo=UTC) + timedelta(milliseconds=milliseconds)


def is_id(text: str, kind: str) -> bool:
    """Tell whether a text has the form of an identifier of this kind."""
    return text.startswith(kind + "_") and _PATTERN.match(text) is not None
