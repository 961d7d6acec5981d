"""Pages of lists: nothing twice, nothing skipped, cursors that cannot be made up."""

from __future__ import annotations

import re
from urllib.parse import quote

import httpx
from fastapi import FastAPI
from fastapi.routing import APIRoute

from models.contract.vocabulary import WorkKind
from service.core.wiring import Wiring
from tests.integration.api.coaching import analysed, new_clip, new_player, new_session
from tests.integration.api.coaching import made as made_of
from tests.integration.api.conftest import assert_problem, film

FINDING, DRILL = "weight_not_on_rear_foot", "hold_loaded"


def send(client: httpx.Client, number: int, reference: str | None = None) -> str:
    suffix = f"?external_ref={reference}" if reference else ""
    reply = client.post(
        f"/v1/clips{suffix}",
        content=film(b"%d" % number),
        headers={"content-type": "video/mp4"},
    )
    return str(reply.json()["id"])


def walk(client: httpx.Client, address: str) -> list[str]:
    seen = []
    while True:
        reply = client.get(address)
        assert reply.status_code == 200
        body = reply.json()
        seen += [item["id"] for item in body["items"]]
        link = reply.headers.get("link")
        assert (link is None) == (body["next_cursor"] is None)
        if link is None:
            return seen
        match = re.fullmatch(r'<([^>]+)>; rel="next"', link)
        assert match
        assert body["next_cursor"] in match.group(1)
        address = match.group(1)


def test_walk_sees_each_clip_once_newest_first(client: httpx.Client) -> None:
    ids = [send(client, number) for number in range(7)]
    for limit in (1, 2, 3, 7, 8):
        assert walk(client, f"/v1/clips?limit={limit}") == ids[::-1]


def test_walk_while_clips_come_and_go(client: httpx.Client) -> None:
    ids = [send(client, number) for number in range(6)]
    first = client.get("/v1/clips?limit=2").json()
    assert [item["id"] for item in first["items"]] == [ids[5], ids[4]]
    client.delete(f"/v1/clips/{ids[4]}")
    client.delete(f"/v1/clips/{ids[2]}")
    send(client, 99)
    rest = walk(client, f"/v1/clips?limit=2&cursor={first['next_cursor']}")
    assert rest == [ids[3], ids[1], ids[0]]


def test_filters_hold_over_pages(client: httpx.Client) -> None:
    kept = [send(client, number, "mine") for number in range(3)]
    for number in range(3, 6):
        send(client, number, "theirs")
    assert walk(client, "/v1/clips?limit=1&external_ref=mine") == kept[::-1]


def test_cursor_of_another_list_filter_or_installation(client: httpx.Client) -> None:
    for number in range(3):
        send(client, number, "mine")
    cursor = client.get("/v1/clips?limit=1&external_ref=mine").json()["next_cursor"]
    for address in (
        f"/v1/clips?cursor={cursor}",
        f"/v1/clips?external_ref=other&cursor={cursor}",
        f"/v1/analyses?cursor={cursor}",
        f"/v1/clips?external_ref=mine&cursor={cursor[:-1]}",
        f"/v1/clips?external_ref=mine&cursor={cursor[::-1]}",
        f"/v1/clips?external_ref=mine&cursor={cursor}A",
        "/v1/clips?cursor=%00",
        "/v1/clips?cursor=",
    ):
        assert_problem(client.get(address), 400, "invalid_cursor")


def test_analyses_by_clip_and_status(client: httpx.Client, wired: Wiring) -> None:
    one, two = send(client, 1), send(client, 2)
    mine = [client.post("/v1/analyses", json={"clip_id": one}).json()["id"] for _ in range(2)]
    client.post("/v1/analyses", json={"clip_id": two})
    assert walk(client, f"/v1/analyses?clip_id={one}&limit=1") == mine[::-1]
    wired.work.claim(WorkKind.ANALYSIS, mine[0], 1, "w")
    assert walk(client, "/v1/analyses?status=running") == [mine[0]]
    assert walk(client, "/v1/analyses?status=failed") == []


def test_analyses_by_session_player_and_time(client: httpx.Client, wired: Wiring) -> None:
    first, second = (new_player(client, name) for name in ("a", "b"))
    sessions = [new_session(client, player, "baseline", 1) for player in (first, first, second)]
    made = []
    for number, session in enumerate((*sessions, None)):
        clip = new_clip(client, session, b"%d" % number)
        made.append(client.post("/v1/analyses", json={"clip_id": clip}).json())
    ids = [one["id"] for one in made]
    assert walk(client, f"/v1/analyses?session_id={sessions[0]}") == [ids[0]]
    assert walk(client, f"/v1/analyses?player_id={first}&limit=1") == [ids[1], ids[0]]
    assert walk(client, f"/v1/analyses?player_id={second}&session_id={sessions[0]}") == []
    moment = quote(made[2]["created_at"])
    assert walk(client, f"/v1/analyses?created_from={moment}&limit=1") == [ids[3], ids[2]]
    assert walk(client, f"/v1/analyses?created_before={moment}&limit=1") == [ids[1], ids[0]]
    for wrong in ("created_from=2026-05-04T10:00:00", "created_before=0001-01-01T00:00:00%2B14:00"):
        assert_problem(client.get(f"/v1/analyses?{wrong}"), 422, "invalid_request")


def test_documents_by_player_and_time(client: httpx.Client, wired: Wiring) -> None:
    players = [new_player(client, name) for name in ("a", "b")]
    checks = []
    for number, player in enumerate(players):
        session = new_session(client, player, "baseline", 1)
        analysis = analysed(client, wired, session, b"%d" % number)
        body = {"analyses": [analysis], "finding": FINDING, "drill": DRILL}
        checks.append(made_of(client.post("/v1/drill-checks", json=body)))
    first, second = checks
    assert walk(client, f"/v1/drill-checks?player_id={players[0]}") == [first["id"]]
    moment = quote(second["created_at"])
    assert walk(client, f"/v1/drill-checks?created_from={moment}") == [second["id"]]
    assert walk(client, f"/v1/drill-checks?created_before={moment}") == [first["id"]]
    assert walk(client, f"/v1/comparisons?player_id={players[0]}") == []
    assert walk(client, f"/v1/players/{players[0]}/plans?created_before={moment}") == []


def test_every_get_answers_head(client: httpx.Client, app: FastAPI, completed: object) -> None:
    routes = [route for route in app.routes if isinstance(route, APIRoute)]
    for path in {route.path for route in routes if route.path.startswith("/v1/")}:
        methods = {method for route in routes if route.path == path for method in route.methods}
        assert ("HEAD" in methods) == ("GET" in methods), path
    (listed,) = client.get("/v1/analyses").json()["items"]
    for address in ("/v1/analyses", listed["links"]["self"], *listed["links"].values()):
        got, head = client.get(address), client.head(address)
        assert head.status_code == got.status_code == 200
        assert head.headers.get("etag") == got.headers.get("etag")
