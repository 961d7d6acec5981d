"""The requests of the tus protocol 1.0.0 (https://tus.io/protocols/resumable-upload), as a client
makes them.
"""

from __future__ import annotations

import base64
from typing import Any

import httpx

PART = "application/offset+octet-stream"
SPOKEN = {"tus-resumable": "1.0.0"}


def metadata(**pairs: str) -> str:
    """Return the value of Upload-Metadata."""
    return ",".join(
        f"{key} {base64.b64encode(value.encode()).decode()}" for key, value in pairs.items()
    )


def begin(
    client: httpx.Client,
    length: int,
    at: str = "/v1/uploads",
    headers: dict[str, str] | None = None,
    **pairs: str,
) -> httpx.Response:
    """Begin an upload."""
    sent = {**SPOKEN, "upload-length": str(length), **(headers or {})}
    if pairs:
        sent["upload-metadata"] = metadata(**pairs)
    return client.post(at, headers=sent)


def address(reply: httpx.Response) -> str:
    """Return where an upload that was begun is."""
    assert reply.status_code == 201, reply.text
    return str(reply.headers["location"])


def part(
    client: httpx.Client, where: str, offset: int, data: Any, **headers: str
) -> httpx.Response:
    """Send a part."""
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    sent = {**SPOKEN, "content-type": PART, "upload-offset": str(offset), **named}
    return client.patch(where, content=data, headers=sent)


def offset(client: httpx.Client, where: str) -> int:
    """Ask where an upload stands."""
    reply = client.head(where, headers=SPOKEN)
    assert reply.status_code == 200, reply.status_code
    assert reply.headers["cache-control"] == "no-store"
    assert reply.headers["tus-resumable"] == "1.0.0"
    return int(reply.headers["upload-offset"])
