"""Entity tags, preconditions and byte ranges of RFC 9110, as pure functions."""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from enum import Enum

from service.core.objects import ByteRange

_TAG = re.compile(r'(?:W/)?"[\x21\x23-\x7e\x80-\xff]*"')
GZIPPED = "-gzip"
"""What the entity tag of content in gzip ends with."""
_RANGE = re.compile(r"^bytes[ \t]*=[ \t]*(\d*)[ \t]*-[ \t]*(\d*)[ \t]*$", re.IGNORECASE)


def strong_tag(digest: str) -> str:
    """Return the strong entity tag of content with this digest."""
    return f'"{digest}"'


def tag_of(content: bytes) -> str:
    """Return the strong entity tag of some bytes."""
    return strong_tag(hashlib.sha256(content).hexdigest())


def gzip_tag(tag: str) -> str:
    """Return the entity tag of the same content in gzip."""
    return f'{tag[:-1]}{GZIPPED}"' if tag.endswith('"') else tag


def _plain(tag: str) -> str:
    """Return the tag of the content as it is: whoever read it in gzip knows its state as well."""
    return tag.removesuffix(GZIPPED + '"') + '"' if tag.endswith(GZIPPED + '"') else tag


def _tags(header: str) -> list[str]:
    return [_plain(tag) for tag in _TAG.findall(header)]


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


class Judgement(Enum):
    """What the preconditions of a request lead to."""

    GO_ON = "go on"
    NOT_MODIFIED = "304"
    FAILED = "412"


def judged(method: str, tag: str, if_match: str | None, if_none_match: str | None) -> Judgement:
    """Judge preconditions against the present tag, in the order of RFC 9110 13.2.2.

    There are no dates to go by, so If-Modified-Since and If-Unmodified-Since are ignored (13.1.3,
    13.1.4).
    """
    if if_match is not None and not matches_strongly(if_match, tag):
        return Judgement.FAILED
    if if_none_match is not None and matches_weakly(if_none_match, tag):
        return Judgement.NOT_MODIFIED if method in ("GET", "HEAD") else Judgement.FAILED
    return Judgement.GO_ON


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
