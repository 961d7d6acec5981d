"""Steps that tests of players and derived documents share."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import httpx

from service.core.wiring import Wiring
from tests.integration.api.conftest import complete, film

NOW = datetime.now(UTC)


def made(reply: httpx.Response, status: int = 201) -> dict[str, Any]:
    """Return the body of a successful reply."""
    assert reply.status_code == status, reply.text
    body: dict[str, Any] = reply.json()
    return body


def new_player(client: httpx.Client, external_id: str = "member-1", **more: Any) -> str:
    return str(made(client.post("/v1/players", json={"external_id": external_id, **more}))["id"])


def new_session(client: httpx.Client, player: str, kind: str, days_ago: float, **more: Any) -> str:
    body = {"kind": kind, "filmed_at": (NOW - timedelta(days=days_ago)).isoformat(), **more}
    return str(made(client.post(f"/v1/players/{player}/sessions", json=body))["id"])


def new_clip(client: httpx.Client, session: str | None, content: bytes = b"x" * 1000) -> str:
    fields = {} if session is None else {"session_id": session}
    files = {"file": ("serve.mp4", film(content), "video/mp4")}
    return str(made(client.post("/v1/clips", files=files, data=fields))["id"])


def analysed(
    client: httpx.Client, wired: Wiring, session: str | None, content: bytes = b"x" * 1000
) -> str:
    """Return a completed analysis of a new clip."""
    clip = new_clip(client, session, content)
    analysis = str(made(client.post("/v1/analyses", json={"clip_id": clip}))["id"])
    complete(wired, analysis)
    return analysis
