from __future__ import annotations

import logging

import httpx
import pytest


def _lines(caplog: pytest.LogCaptureFixture) -> list[logging.LogRecord]:
    return [r for r in caplog.records if r.name == "service.api.middleware"]


def test_every_answer_is_one_line_with_its_request_id(
    client: httpx.Client, caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.INFO):
        reply = client.get("/v1/players", params={"external_id": "member-4711"})
    (line,) = _lines(caplog)
    assert line.getMessage().startswith("GET /v1/players 200 in ")
    assert reply.headers["x-request-id"] in line.getMessage()
    assert "member-4711" not in caplog.text  # what a caller asks for may name a player


def test_a_line_break_in_a_path_forges_no_line(
    client: httpx.Client, caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.INFO):
        client.get("/v1/clips/a%0AINFO%20forged")
    (line,) = _lines(caplog)
    assert "\n" not in line.getMessage()


def test_probes_are_heard_at_level_debug_only(
    client: httpx.Client, caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.INFO):
        client.get("/livez")
    assert not _lines(caplog)
