"""Films filed elsewhere, and sessions of which all films are analysed."""

from __future__ import annotations

import json
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from typing import Any

import httpx
import pytest
from sqlalchemy import select

from models.contract.errors import NotAVideo
from models.contract.vocabulary import WorkKind
from models.contract.webhook import WebhookEvent
from service.core.principal import Scope
from service.core.tables import OutboxEvent
from service.core.wiring import Wiring
from tests.integration.api.coaching import NOW, analysed, made, new_clip, new_player, new_session
from tests.integration.api.conftest import assert_problem, complete


def completions(wired: Wiring) -> list[WebhookEvent]:
    with wired.database.read() as session:
        bodies = session.scalars(
            select(OutboxEvent.body)
            .where(OutboxEvent.type == "session.completed")
            .order_by(OutboxEvent.created_at)
        )
        return [WebhookEvent.model_validate(json.loads(body)) for body in bodies]


def start(client: httpx.Client, clip: str) -> str:
    return str(made(client.post("/v1/analyses", json={"clip_id": clip}))["id"])


def test_the_last_film_completes_the_session(client: httpx.Client, wired: Wiring) -> None:
    player = new_player(client)
    session = new_session(client, player, "baseline", 1)
    clips = [new_clip(client, session, bytes([number])) for number in (1, 2, 3)]
    first, second = start(client, clips[0]), start(client, clips[1])
    complete(wired, first)
    complete(wired, second)
    assert completions(wired) == []  # the third film has no analysis yet
    third = start(client, clips[2])
    wired.work.claim(WorkKind.ANALYSIS, third, 1, "w")
    wired.work.fail(third, 1, NotAVideo())
    (event,) = completions(wired)
    here = f"/v1/players/{player}/sessions/{session}"
    assert (event.subject, event.source) == (session, f"/v1/players/{player}/sessions")
    assert event.data.headline == {"films": 3, "analysed": 2, "failed": 1}
    assert (event.data.resource, event.data.id, event.data.player_id) == (
        "session",
        session,
        player,
    )
    assert event.data.links["self"] == here
    for link in event.data.links.values():
        assert client.get(link).status_code == 200
    complete(wired, start(client, clips[2]))  # made anew: complete again
    assert [one.data.headline["analysed"] for one in completions(wired)] == [2, 3]
    added = new_clip(client, session, b"added")
    assert len(completions(wired)) == 2
    complete(wired, start(client, added))
    assert completions(wired)[-1].data.headline == {"films": 4, "analysed": 4, "failed": 0}


def test_what_completes_no_session(client: httpx.Client, wired: Wiring) -> None:
    session = new_session(client, new_player(client), "baseline", 1)
    analysed(client, wired, None)  # in no session
    one, other = (new_clip(client, session, bytes([number])) for number in (1, 2))
    complete(wired, start(client, one))
    stopped = start(client, other)
    assert client.post(f"/v1/analyses/{stopped}/cancel").status_code == 200
    assert completions(wired) == []
    client.delete(f"/v1/clips/{other}")  # erasing does not tell either
    assert completions(wired) == []


def test_two_that_end_at_once_complete_the_session_once(
    client: httpx.Client, wired: Wiring
) -> None:
    session = new_session(client, new_player(client), "baseline", 1)
    analyses = [start(client, new_clip(client, session, bytes([number]))) for number in range(6)]
    with ThreadPoolExecutor(6) as pool:
        list(pool.map(lambda analysis: complete(wired, analysis), analyses))
    (event,) = completions(wired)
    assert event.data.headline == {"films": 6, "analysed": 6, "failed": 0}


def test_its_event_is_erased_with_the_session(client: httpx.Client, wired: Wiring) -> None:
    player = new_player(client)
    session = new_session(client, player, "baseline", 1)
    kept = new_session(client, player, "retention", 0.5)
    analysed(client, wired, session, b"1")
    analysed(client, wired, kept, b"2")
    assert len(completions(wired)) == 2
    assert client.delete(f"/v1/players/{player}/sessions/{session}").status_code == 202
    assert [event.data.id for event in completions(wired)] == [kept]
    assert client.delete(f"/v1/players/{player}").status_code == 202
    assert completions(wired) == []


def test_a_film_is_filed_under_another_player(client: httpx.Client, wired: Wiring) -> None:
    wrong, right = new_player(client, "a", height_m=1.6), new_player(client, "b", height_m=1.9)
    one, other = (
        new_session(client, wrong, "baseline", 2),
        new_session(client, right, "baseline", 1),
    )
    clip = new_clip(client, one)
    analysis = start(client, clip)
    complete(wired, analysis)
    plan = made(client.post(f"/v1/players/{wrong}/plans", json={}))
    address = f"/v1/clips/{clip}"
    before = client.get(address)
    tag = {"if-match": before.headers["etag"]}
    assert_problem(client.patch(address, json={"session_id": other}), 428, "precondition_required")
    moved = client.patch(address, json={"session_id": other}, headers=tag)
    assert made(moved, 200)["session_id"] == other
    assert moved.headers["etag"] == client.get(address).headers["etag"] != tag["if-match"]
    late = client.patch(address, json={"session_id": one}, headers=tag)
    assert_problem(late, 412, "precondition_failed")
    # its analysis goes with it, made with the height of the player it was filed under
    listed = client.get("/v1/analyses", params={"player_id": right}).json()["items"]
    assert [(item["id"], item["options"]["height_m"]) for item in listed] == [(analysis, 1.6)]
    assert client.get("/v1/analyses", params={"player_id": wrong}).json()["items"] == []
    assert made(client.post(f"/v1/players/{right}/plans", json={}))["analyses"] == [analysis]
    # a document made before stays as it is
    assert client.get(plan["links"]["self"]).json()["analyses"] == [analysis]
    assert client.delete(f"/v1/players/{wrong}").status_code == 202
    assert client.get(address).status_code == 200
    assert client.get(f"/v1/analyses/{analysis}").status_code == 200


def test_a_film_is_filed_nowhere_and_named_anew(client: httpx.Client) -> None:
    session = new_session(client, new_player(client), "baseline", 1)
    address = f"/v1/clips/{new_clip(client, session)}"
    body = {"session_id": None, "external_ref": "court 3"}
    changed = made(client.patch(address, json=body, headers={"if-match": "*"}), 200)
    assert (changed["session_id"], changed["external_ref"]) == (None, "court 3")
    missing = {"session_id": "ses_" + "0" * 32}
    reply = client.patch(address, json=missing, headers={"if-match": "*"})
    assert_problem(reply, 404, "not_found")
    same = made(client.patch(address, json={}, headers={"if-match": "*"}), 200)
    assert same == changed


def test_a_bound_key_files_within_its_player(
    client: httpx.Client, as_key: Callable[..., dict[str, str]]
) -> None:
    mine, other = new_player(client, "a"), new_player(client, "b")
    sessions = [new_session(client, mine, "baseline", day) for day in (2, 1)]
    elsewhere = new_session(client, other, "baseline", 1)
    address = f"/v1/clips/{new_clip(client, sessions[0])}"
    body = {"name": "k", "scopes": ["clips:write", "clips:read"], "player_id": mine}
    key = made(client.post("/v1/api-keys", json=body))["key"]
    headers = {"authorization": f"Bearer {key}", "if-match": "*"}

    def file(session: str | None) -> httpx.Response:
        return client.patch(address, json={"session_id": session}, headers=headers)

    assert file(sessions[1]).status_code == 200
    assert_problem(file(elsewhere), 404, "not_found")
    assert_problem(file(None), 422, "invalid_request")
    reads = as_key(Scope.CLIPS_READ) | {"if-match": "*"}
    refused = client.patch(address, json={"external_ref": "x"}, headers=reads)
    assert_problem(refused, 403, "forbidden")


@pytest.mark.parametrize(
    ("query", "wanted"),
    [
        ({"player_id": "mine"}, {"first", "second"}),
        ({"session_id": "first"}, {"first"}),
        ({"player_id": "other", "state": "ready"}, {"elsewhere"}),
        ({"state": "uploading"}, set()),
        ({"created_from": "now"}, set()),
        ({"created_before": "now"}, {"first", "second", "elsewhere", "nowhere"}),
    ],
)
def test_clips_are_narrowed(client: httpx.Client, query: dict[str, str], wanted: set[str]) -> None:
    names = {"mine": new_player(client, "a"), "other": new_player(client, "b")}
    names |= {"now": (NOW + timedelta(days=1)).isoformat()}
    names["first"] = new_session(client, names["mine"], "baseline", 2)
    names["second"] = new_session(client, names["mine"], "baseline", 1)
    names["elsewhere"] = new_session(client, names["other"], "baseline", 1)
    clips = {
        new_clip(client, names.get(where), where.encode()): where
        for where in ("first", "second", "elsewhere", "nowhere")
    }
    params = {name: names.get(value, value) for name, value in query.items()}
    found = client.get("/v1/clips", params={**params, "limit": 1}).json()
    seen = [clips[item["id"]] for item in found["items"]]
    while found["next_cursor"]:
        params["cursor"] = found["next_cursor"]
        found = client.get("/v1/clips", params={**params, "limit": 1}).json()
        seen += [clips[item["id"]] for item in found["items"]]
    assert set(seen) == wanted
    assert len(seen) == len(wanted)


def test_players_and_sessions_are_narrowed_by_time(client: httpx.Client) -> None:
    player = new_player(client)
    days = {day: new_session(client, player, "baseline", day) for day in (9, 5, 1)}

    def listed(path: str, **query: Any) -> list[str]:
        return [item["id"] for item in client.get(path, params=query).json()["items"]]

    def ago(number: float) -> str:
        return (NOW - timedelta(days=number)).isoformat()

    sessions = f"/v1/players/{player}/sessions"
    assert listed(sessions, filmed_from=ago(5), filmed_before=ago(1)) == [days[5]]
    assert listed(sessions, filmed_from=ago(6)) == [days[1], days[5]]
    assert listed(sessions, created_before=ago(1)) == []
    assert listed("/v1/players", created_from=ago(1)) == [player]
    assert listed("/v1/players", created_before=ago(1)) == []
