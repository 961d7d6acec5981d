"""What is sent again and what is not, and how long is waited."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from email.utils import format_datetime

import httpx
import pytest
from servewright_client import (
    Clip,
    ConflictError,
    DeniedError,
    GoneError,
    NotFoundError,
    OverloadedError,
    Player,
    ProblemError,
    RefusedError,
    ServewrightClientError,
    UnreachableError,
)

from .conftest import problem

PLAYER = {
    "id": "ply_" + "1" * 32,
    "external_id": "member-1",
    "handedness": "right",
    "height_m": 1.8,
    "may_be_minor": False,
    "links": {"self": "/v1/players/ply_" + "1" * 32},
}
CUT = httpx.ReadError("cut")


def created() -> httpx.Response:
    return httpx.Response(201, json=PLAYER, headers={"etag": '"a"'})


def test_two_films_of_one_serve_are_asked_for_together(scripted) -> None:
    body = {"id": "ana_1", "status": "queued", "progress": 0, "links": {}}
    client, script = scripted(httpx.Response(201, json=body), httpx.Response(201, json=body))
    client.analyse("clip_1", same_serve="clip_2", height_m=1.8)
    client.analyse("clip_1")
    first, second = (json.loads(one.content) for one in script.asked)
    assert first == {"clip_id": "clip_1", "same_serve": "clip_2", "options": {"height_m": 1.8}}
    assert "same_serve" not in second


def test_creating_is_sent_again_under_one_key(scripted) -> None:
    client, script = scripted(CUT, problem(503, "database_unavailable"), created())
    player = client.create_player("member-1", height_m=1.8)
    assert player.id == PLAYER["id"]
    assert player.etag == '"a"'
    assert len({request.headers["idempotency-key"] for request in script.asked}) == 1
    assert len({request.content for request in script.asked}) == 1
    assert script.asked[0].headers["authorization"] == "Bearer sw_test"


def test_two_creations_have_two_keys(scripted) -> None:
    client, script = scripted(created(), created())
    for _ in range(2):
        client.create_player("member-1")
    assert len({request.headers["idempotency-key"] for request in script.asked}) == 2


def test_change_is_not_sent_again_when_it_may_have_happened(scripted) -> None:
    client, script = scripted(CUT)
    with pytest.raises(UnreachableError, match="cut"):
        client.change_player(Player.of(PLAYER, '"a"'), height_m=1.9)
    assert script.asked[0].headers["if-match"] == '"a"'
    assert script.waits == []


def test_change_is_sent_again_when_nothing_happened(scripted) -> None:
    """429 and 503: RFC 6585, 4; RFC 9110, 15.6.4."""
    client, script = scripted(problem(429, "rate_limited"), httpx.Response(200, json=PLAYER))
    client.change_player(Player.of(PLAYER, '"a"'), height_m=1.9)
    assert len(script.asked) == 2


@pytest.mark.parametrize(("said", "waited"), [("7", 7.0), ("0", 0.0)])
def test_retry_after_in_seconds_is_kept(scripted, said: str, waited: float) -> None:
    answer = problem(429, "rate_limited", headers={"retry-after": said})
    client, script = scripted(answer, httpx.Response(200, json=PLAYER))
    client.player("ply_x")
    assert script.waits == [waited]


def test_retry_after_as_a_date_is_kept(scripted) -> None:
    """RFC 9110, 10.2.3: a date or seconds."""
    at = format_datetime(datetime.now(UTC) + timedelta(seconds=30), usegmt=True)
    answer = problem(503, "queue_unavailable", headers={"retry-after": at})
    client, script = scripted(answer, httpx.Response(200, json=PLAYER))
    client.player("ply_x")
    assert script.waits[0] == pytest.approx(29.5, abs=1.5)


def test_an_hour_is_not_waited_for(scripted) -> None:
    answer = problem(429, "rate_limited", headers={"retry-after": "3600"})
    client, script = scripted(answer)
    with pytest.raises(OverloadedError):
        client.player("ply_x")
    assert script.waits == []


def test_waits_grow_and_end(scripted) -> None:
    client, script = scripted(*[CUT] * 4, tries=4)
    with pytest.raises(UnreachableError):
        client.player("ply_x")
    assert len(script.asked) == 4
    assert all(
        low <= wait <= high
        for wait, low, high in zip(script.waits, (0.25, 0.5, 1.0), (0.5, 1.0, 2.0), strict=True)
    )


def test_erasing_twice_is_erasing(scripted) -> None:
    receipts = [
        {"id": f"era_{of}", "of": of, "state": "completed", "links": {}}
        for of in ("ply_y", "ply_x")
    ]
    listed = httpx.Response(200, json={"items": receipts})
    client, script = scripted(CUT, problem(404, "not_found"), listed)
    assert client.erase_player("ply_x").id == "era_ply_x"
    assert len(script.asked) == 3
    client, _ = scripted(httpx.Response(202, json=receipts[0]))
    assert client.erase_clip("ply_y").erased_id == "ply_y"
    client, _ = scripted(problem(404, "not_found"))
    with pytest.raises(NotFoundError):
        client.erase_player("ply_x")


@pytest.mark.parametrize(
    ("status", "kind"),
    [
        (400, RefusedError),
        (401, DeniedError),
        (403, DeniedError),
        (404, NotFoundError),
        (409, ConflictError),
        (410, GoneError),
        (412, ConflictError),
        (413, RefusedError),
        (422, RefusedError),
        (428, ConflictError),
        (500, OverloadedError),
    ],
)
def test_problems_are_types_with_code_and_id(
    scripted, status: int, kind: type[ProblemError]
) -> None:
    other = "whe_" + "a" * 32
    answer = problem(
        status,
        "some_code",
        detail_code="finer",
        parameters={"endpoint": other, "count": 3},
        about=other,
        errors=[{"pointer": "/url", "detail": "taken"}],
        request_id="req-1",
    )
    client, _ = scripted(answer, tries=1)
    with pytest.raises(kind) as caught:
        client.player("ply_x")
    error = caught.value
    assert type(error) is kind
    assert error.code == "some_code"
    assert error.about == other
    assert error.problem.detail_code == "finer"
    assert error.problem.errors[0]["pointer"] == "/url"
    assert error.problem.request_id == "req-1"
    assert "Do something about it." in str(error)


def test_page_of_a_proxy_is_a_problem_too(scripted) -> None:
    client, _ = scripted(httpx.Response(502, html="<h1>Bad gateway</h1>"), tries=1)
    with pytest.raises(OverloadedError) as caught:
        client.player("ply_x")
    assert caught.value.code == "not_a_problem_document"


@pytest.mark.parametrize(
    "link",
    ["https://elsewhere.example/v1/x", "http://serve.example.org/v1/x", "//elsewhere.example/x"],
)
def test_key_goes_to_no_other_place(scripted, link: str) -> None:
    client, script = scripted()
    with pytest.raises(ServewrightClientError, match="is not the service"):
        client.work(link)
    assert script.asked == []


def test_file_is_whole_or_not_there(scripted, tmp_path) -> None:
    links = {"content": "/v1/clips/c/content"}
    clip = Clip.of({"id": "c", "state": "ready", "size_bytes": 1, "sha256": None, "links": links})

    def cut_short() -> object:
        yield b"half"
        raise httpx.ReadError("cut")

    client, _ = scripted(
        httpx.Response(200, content=b"a film"), httpx.Response(200, content=cut_short())
    )
    assert client.save(clip, "content", tmp_path / "a.mp4").read_bytes() == b"a film"
    with pytest.raises(UnreachableError):
        client.save(clip, "content", tmp_path / "b.mp4")
    assert [path.name for path in tmp_path.iterdir()] == ["a.mp4"]


def test_lists_are_read_page_by_page(scripted) -> None:
    pages = [
        httpx.Response(200, json={"items": [PLAYER, PLAYER], "next_cursor": "second"}),
        httpx.Response(200, json={"items": [PLAYER], "next_cursor": None}),
    ]
    client, script = scripted(*pages)
    players = client.players(limit=2)
    assert script.asked == []
    next(players)
    assert len(script.asked) == 1
    assert len(list(players)) == 2
    assert script.asked[1].url.params["cursor"] == "second"
    assert script.asked[1].url.params["limit"] == "2"
