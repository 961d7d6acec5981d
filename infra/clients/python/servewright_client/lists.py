"""Lists, page after page, as one iterator."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, TypeVar

from servewright_client.resources import Resource
from servewright_client.transport import Transport

Kind = TypeVar("Kind", bound=Resource)


def pages(
    transport: Transport, path: str, kind: type[Kind], filters: Mapping[str, Any]
) -> Iterator[Kind]:
    """Yield the members of a list, newest first; a page is fetched when it is needed."""
    cursor: str | None = None
    while True:
        document = transport.request("GET", path, params={**filters, "cursor": cursor}).json()
        for item in document["items"]:
            yield kind.of(item)
        cursor = document.get("next_cursor")
        if cursor is None:
            return
