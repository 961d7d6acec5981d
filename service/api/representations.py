"""Files from the object store as responses: whole or in part, with strong entity tags."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import BinaryIO

from fastapi import Request, Response
from starlette.responses import StreamingResponse

from models.contract.errors import NotFound, RangeNotSatisfiable
from service.api.conditional import (
    Unsatisfiable,
    requested_range,
    strong_tag,
)
from service.api.preconditions import not_modified
from service.core.objects import ByteRange, ObjectMissing, Objects

CHUNK = 256 * 1024
"""Bytes that are sent at a time."""


def send_object(
    request: Request,
    objects: Objects,
    *,
    key: str,
    sha256: str,
    size_bytes: int,
    media_type: str,
    headers: Mapping[str, str] | None = None,
) -> Response:
    """Return an immutable object as a response to GET or HEAD.

    Raises
    ------
    PreconditionFailed, RangeNotSatisfiable
        As RFC 9110 asks.
    NotFound
        The object is gone (erased in between).
    """
    tag = strong_tag(sha256)
    sent = {
        "etag": tag,
        "accept-ranges": "bytes",
        "cache-control": "private, max-age=0, must-revalidate",
        "vary": "authorization",
        **(headers or {}),
    }
    if not_modified(request, tag):
        return Response(status_code=304, headers=sent)
    header = request.headers.get("range") if request.method == "GET" else None
    part = requested_range(header, request.headers.get("if-range"), tag, size_bytes)
    if isinstance(part, Unsatisfiable):
        raise RangeNotSatisfiable(headers={"content-range": f"bytes */{size_bytes}"})
    status = 200
    length = size_bytes
    window = part if isinstance(part, ByteRange) else None
    if window is not None:
        status, length = 206, window.length
        sent["content-range"] = f"bytes {window.first}-{window.last}/{size_bytes}"
    sent["content-length"] = str(length)
    if request.method == "HEAD":
        return Response(status_code=status, headers=sent, media_type=media_type)
    try:
        stream = objects.open(key, window)
    except ObjectMissing:
        raise NotFound() from None
    return StreamingResponse(_pieces(stream), status, sent, media_type)


def _pieces(stream: BinaryIO) -> Iterator[bytes]:
    try:
        while piece := stream.read(CHUNK):
            yield piece
    finally:
        stream.close()
