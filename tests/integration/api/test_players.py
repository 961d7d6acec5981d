"""Players and sessions: registered, found, changed with care, and used by analyses."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import httpx
import pytest

from service.core.principal import Scope
from service.core.wiring import Wiring
from tests.integration.api.coaching import NOW, made, new_clip, new_player, new_session
from tests.integration.api.conftest import assert_problem, film


def test_player_is_kept_under_the_id_of_the_app(client: httpx.Client) -> None:
    sent = {
        "external_id": "member-0417",
        "handedness": "left",
        "height_m": 1.74,
        "sex": "female",
        "birth_year": NOW.year - 40,
    }
    reply = client.post("/v1/players", json=sent)
    body = made(reply)
    assert {name: body[name] for name in sent} == sent
    assert body["may_be_minor"] is False
    assert body["cautions"] == []
    assert reply.headers["location"] == body["links"]["self"]
    assert client.get(body["links"]["self"]).json() == body
    found = client.get("/v1/players", params={"external_id": "member-0417"}).json()["items"]
    assert [one["id"] for one in found] == [body["id"]]
    assert client.get("/v1/players", params={"external_id": "other"}).json()["items"] == []
    assert_problem(client.post("/v1/players", json=sent), 409, "external_id_taken")


@pytest.mark.parametrize(("age", "minor"), [(12, True), (18, True), (19, False)])
def test_year_of_birth_that_may_mean_under_18_brings_cautions(
    client: httpx.Client, age: int, minor: bool
) -> None:
    """Someone born 18 calendar years ago may still be 17."""
    body = made(client.post("/v1/players", json={"external_id": "a", "birth_year": NOW.year - age}))
    assert body["may_be_minor"] is minor
    assert bool(body["cautions"]) is minor


def test_without_a_year_of_birth_a_player_may_be_a_minor(client: httpx.Client) -> None:
    body = made(client.post("/v1/players", json={"external_id": "a"}))
    assert body["may_be_minor"] is True
    assert body["cautions"]


def test_same_idempotency_key_makes_one_player(client: httpx.Client) -> None:
    headers = {"idempotency-key": "intake-1"}
    first = client.post("/v1/players", json={"external_id": "a"}, headers=headers)
    again = client.post("/v1/players", json={"external_id": "a"}, headers=headers)
    assert made(again)["id"] == made(first)["id"]
    assert again.headers["idempotency-replayed"] == "true"


def test_changes_need_the_present_state(client: httpx.Client) -> None:
    address = f"/v1/players/{new_player(client, height_m=1.7, notes='shy')}"
    tag = client.get(address).headers["etag"]
    assert_problem(client.patch(address, json={"height_m": 1.8}), 428, "precondition_required")
    changed = client.patch(address, json={"height_m": 1.8}, headers={"if-match": tag})
    assert made(changed, 200)["height_m"] == 1.8
    assert changed.json()["notes"] == "shy"
    stale = client.patch(address, json={"height_m": 1.9}, headers={"if-match": tag})
    assert_problem(stale, 412, "precondition_failed")
    now = {"if-match": changed.headers["etag"]}
    emptied = client.patch(address, json={"notes": None, "handedness": None}, headers=now)
    assert made(emptied, 200)["notes"] is None
    assert emptied.json()["handedness"] == "unknown"


def test_external_id_of_another_player_is_refused(client: httpx.Client) -> None:
    new_player(client, "a")
    address = f"/v1/players/{new_player(client, 'b')}"
    tag = {"if-match": client.get(address).headers["etag"]}
    assert_problem(
        client.patch(address, json={"external_id": "a"}, headers=tag), 409, "external_id_taken"
    )
    assert client.get(address).json()["external_id"] == "b"


def test_sessions_of_a_player(client: httpx.Client) -> None:
    player = new_player(client)
    speed = {"value_m_s": 41.0, "source": "radar"}
    first = new_session(client, player, "baseline", 9, serve_speed=speed)
    second = new_session(client, player, "acquisition", 8, drill_stage="hold", drill_id="hold_a")
    listed = client.get(f"/v1/players/{player}/sessions").json()["items"]
    assert [one["id"] for one in listed] == [second, first]
    assert listed[1]["serve_speed"] == speed
    assert listed[0]["drill_stage"] == "hold"
    of_kind = client.get(f"/v1/players/{player}/sessions", params={"kind": "baseline"})
    assert [one["id"] for one in of_kind.json()["items"]] == [first]
    address = f"/v1/players/{player}/sessions/{first}"
    tag = {"if-match": client.get(address).headers["etag"]}
    changed = client.patch(address, json={"serve_speed": None, "notes": "windy"}, headers=tag)
    assert made(changed, 200)["serve_speed"] is None
    assert changed.json()["kind"] == "baseline"
    other = new_player(client, "other")
    wrong = f"/v1/players/{other}/sessions/{first}"
    assert_problem(client.get(wrong), 404, "not_found")


def test_pages_of_sessions_link_to_the_next(client: httpx.Client) -> None:
    player = new_player(client)
    ids = [new_session(client, player, "baseline", day) for day in (3, 2, 1)]
    page = client.get(f"/v1/players/{player}/sessions", params={"limit": 2, "kind": "baseline"})
    assert [one["id"] for one in page.json()["items"]] == ids[:0:-1]
    link = page.headers["link"].split(">")[0].removeprefix("<")
    assert [one["id"] for one in client.get(link).json()["items"]] == [ids[0]]


@pytest.mark.parametrize(
    "wrong",
    [
        {"filmed_at": "2026-05-04T09:00:00"},
        {"filmed_at": "0001-01-01T00:00:00+14:00"},
        {"kind": "warm-up"},
        {"serve_speed": {"value_m_s": 40.0}},
        {"serve_speed": {"value_m_s": 400.0, "source": "radar"}},
    ],
)
def test_session_that_makes_no_sense_is_refused(
    client: httpx.Client, wrong: dict[str, Any]
) -> None:
    body = {"kind": "baseline", "filmed_at": "2026-05-04T09:00:00Z", **wrong}
    reply = client.post(f"/v1/players/{new_player(client)}/sessions", json=body)
    problem = assert_problem(reply, 422, "invalid_request")
    assert next(iter(wrong)) in problem["errors"][0]["pointer"]


@pytest.mark.parametrize("way", ["form", "form over query", "body"])
def test_clip_is_filed_under_its_session(client: httpx.Client, way: str) -> None:
    session = new_session(client, new_player(client), "baseline", 1)
    query = {} if way == "form" else {"session_id": session}
    if way == "body":
        reply = client.post(
            "/v1/clips", params=query, content=film(), headers={"content-type": "video/mp4"}
        )
    else:
        fields = {"session_id": session}
        files = {"file": ("a.mp4", film(), "video/mp4")}
        reply = client.post("/v1/clips", params=query, files=files, data=fields)
    clip = made(reply)
    assert clip["session_id"] == session
    listed = client.get("/v1/clips", params={"session_id": session}).json()["items"]
    assert [one["id"] for one in listed] == [clip["id"]]


def test_film_sent_again_is_filed_once_and_never_moved(client: httpx.Client) -> None:
    player = new_player(client)
    mine = new_session(client, player, "baseline", 2)
    other = new_session(client, player, "retention", 1)
    clip = new_clip(client, None)
    files = {"file": ("a.mp4", film(), "video/mp4")}
    filed = client.post("/v1/clips", files=files, data={"session_id": mine})
    assert filed.status_code == 200
    assert (filed.json()["id"], filed.json()["session_id"]) == (clip, mine)
    moved = client.post("/v1/clips", files=files, data={"session_id": other})
    assert_problem(moved, 409, "film_in_other_session")
    assert client.get(f"/v1/clips/{clip}").json()["session_id"] == mine


def test_unknown_session_leaves_nothing_in_the_store(client: httpx.Client, wired: Wiring) -> None:
    files = {"file": ("a.mp4", film(), "video/mp4")}
    reply = client.post("/v1/clips", files=files, data={"session_id": "ses_" + "0" * 32})
    assert_problem(reply, 404, "not_found")
    wrong = client.post("/v1/clips", files=files, data={"session_id": "7"})
    assert_problem(wrong, 422, "invalid_request")
    assert list(wired.objects.list()) == []


def test_player_fills_what_the_options_leave_open(client: httpx.Client) -> None:
    player = new_player(client, handedness="left", height_m=1.74, sex="female")
    session = new_session(client, player, "acquisition", 1, drill_stage="hold")
    clip = new_clip(client, session)
    options = {"height_m": 1.80}
    asked = {"clip_id": clip, "options": options}
    got = made(client.post("/v1/analyses", json=asked))["options"]
    assert got["height_m"] == 1.80
    assert (got["handedness"], got["sex"], got["drill"]) == ("left", "female", "hold")


def test_scopes(client: httpx.Client, as_key: Callable[..., dict[str, str]]) -> None:
    player = new_player(client)
    reads, writes = as_key(Scope.PLAYERS_READ), as_key(Scope.PLAYERS_WRITE)
    address = f"/v1/players/{player}"
    assert client.get(address, headers=reads).status_code == 200
    body = {"external_id": "b"}
    assert_problem(client.post("/v1/players", json=body, headers=reads), 403, "forbidden")
    assert client.post("/v1/players", json=body, headers=writes).status_code == 201
    assert_problem(client.delete(address, headers=writes), 403, "forbidden")
    assert client.delete(address, headers=as_key(Scope.CLIPS_ERASE)).status_code == 202


def test_players_of_another_tenant_do_not_exist(
    client: httpx.Client, as_key: Callable[..., dict[str, str]]
) -> None:
    player = new_player(client)
    session = new_session(client, player, "baseline", 1)
    stranger = as_key(Scope.ADMIN, tenant="other")
    for address in (f"/v1/players/{player}", f"/v1/players/{player}/sessions/{session}"):
        assert_problem(client.get(address, headers=stranger), 404, "not_found")
        assert_problem(client.delete(address, headers=stranger), 404, "not_found")
    files = {"file": ("a.mp4", film(), "video/mp4")}
    reply = client.post("/v1/clips", files=files, data={"session_id": session}, headers=stranger)
    assert_problem(reply, 404, "not_found")
    assert made(client.post("/v1/players", json={"external_id": "member-1"}, headers=stranger))
