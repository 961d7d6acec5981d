"""Entity tags, preconditions and byte ranges of RFC 9110, as pure functions."""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass

from service.core.objects import ByteRange

_TAG = re.compile(r'(?:W/)?"[\x21\x23-\x7e\x80-\xff]*"')
_RANGE = re.compile(r"^bytes[ \t]*=[ \t]*(\d*)[ \t]*-[ \t]*(\d*)[ \t]*$", re.IGNORECASE)


def strong_tag(digest: str) -> str:
    """Return the strong entity tag of content with this digest."""
    return f'"{digest}"'


def tag_of(content: bytes) -> str:
    """Return the strong entity tag of some bytes."""
    return strong_tag(hashlib.sha256(content).hexdigest())


def _tags(header: str) -> list[str]:
    return _TAG.findall(header)


def matches_weakly(header: str, tag: str) -> bool:
    """Tell whether If-None-Match holds the tag (weak comparison, RFC 9110 8.8.3.2)."""
    if header.strip() == "*":
        return True
    return tag.removeprefix("W/") in {found.removeprefix("W/") for found in _tags(header)}


def matches_strongly(header: str, tag: str) -> bool:
    """Tell whether If-Match holds the tag (strong comparison)."""
    if header.strip() == "*":
        return True
    return not tag.startswith("W/") and tag in _tags(header)


@dataclass(frozen=True, slots=True)
class Whole:
    """Send everything: no range, or one that is to be ignored."""


@dataclass(frozen=True, slots=True)
class Unsatisfiable:
    """Answer 416."""


def requested_range(
    header: str | None, if_range: str | None, tag: str, size: int
) -> ByteRange | Whole | Unsatisfiable:
    """Decide which bytes a request asks for.

    A range that cannot be read, several ranges, or an ``If-Range`` that is not the present strong
    tag mean the whole content, as RFC 9110 14.2 allows.
    """
    if header is None:
        return Whole()
    if if_range is not None and if_range.strip() != tag:
        return Whole()
    match = _RANGE.match(header)
    if match is None:
        return Whole()
    first_text, last_text = match.groups()
    if not first_text and not last_text:
        return Whole()
    if not first_text:
        length = int(last_text)
        if length == 0 or size == 0:
            return Unsatisfiable()
        return ByteRange(max(0, size - length), size - 1)
    first = int(first_text)
    last = int(last_text) if last_text else size - 1
    if last_text and last < first:
        return Whole()
    if first >= size:
        return Unsatisfiable()
    return ByteRange(first, min(last, size - 1))
