"""Nobody reaches what is another's: every operation of the OpenAPI document, by keys of another
organisation, of another player and of another session.

The calls are made from the document, so an operation that is added is tried as well; one with a new
kind of id or body fails here until it is told how to be called.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from sqlalchemy import select

from service.core.object_keys import owner_of
from service.core.principal import ORGANISATION_WIDE, Scope
from service.core.queue import attempt_at
from service.core.tables import Clip, Delivery, OutboxEvent, Work
from service.core.wiring import Wiring
from tests.integration.api.coaching import analysed, made, new_clip, new_player, new_session
from tests.integration.api.conftest import film
from tests.integration.api.organisation_story import (
    CANARY,
    NOBODY,
    OF_ALL,
    RULES,
    Call,
    Story,
)
from workers.jobs import entry


@pytest.fixture
def story(client: httpx.Client, wired: Wiring) -> Story:
    return Story(client, wired)


def leaks(story: Story, call: Call, reply: httpx.Response) -> list[str]:
    """Return what an answer tells that the question did not."""
    asked = json.dumps([call.path, call.body, call.query])
    said = reply.text + repr(dict(reply.headers))
    ids = {name: value for name, value in story.ids().items() if len(value) > 8}
    words = [CANARY, *ids.values(), *(made["id"] for made in _documents(story))]
    return [word for word in words if word in said and word not in asked]


def _documents(story: Story) -> list[dict[str, Any]]:
    return [reply.json() for reply in story.documents.values()]


def tried(
    story: Story, app: FastAPI, headers: dict[str, str], allowed: Callable[[Call], set[int]]
) -> list[str]:
    """Make every call with these headers; return what was wrong."""
    wrong = []
    client = story.client
    for call in story.calls(app):
        reply = client.request(
            call.method,
            call.path,
            params=call.query,
            json=call.body,
            headers={**call.headers, **headers, "if-match": "*", "idempotency-key": "once"},
        )
        what = f"{call.operation} {call.query or ''} {reply.status_code} {reply.text[:200]}"
        if found := leaks(story, call, reply):
            wrong.append(f"leaks {found}: {what}")
        if reply.status_code not in allowed(call):
            wrong.append(f"status: {what}")
        if "idempotency-replayed" in reply.headers:
            wrong.append(f"replayed: {what}")
        if call.query and reply.json().get("items", []) != []:
            wrong.append(f"listed: {what}")
    return wrong


def test_another_organisation_reaches_nothing(
    story: Story, app: FastAPI, as_key: Callable[..., dict[str, str]]
) -> None:
    before = story.held()
    other = as_key(Scope.ADMIN, tenant="other")

    def allowed(call: Call) -> set[int]:
        if call.operation == "create_organisation" or call.tag == "operations":
            return {403}
        if call.operation in ("announce_clip", "announce_film_parts"):
            return {409}  # this installation has no store that callers reach
        if call.names_others:
            return {404}
        own_look = {"put_logo": {415}, "read_logo": {404}, "delete_branding": {204}}
        return own_look.get(call.operation, {200, 201})

    assert tried(story, app, other, allowed) == []
    assert story.held() == before
    client, wired = story.client, story.wired
    for content in (film(CANARY.encode() * 40),):  # the same film: a new one of theirs
        reply = client.post("/v1/clips", files={"file": ("a.mp4", content)}, headers=other)
        assert made(reply)["id"] != story.clip
    filed = {"session_id": story.session}
    reply = client.post(
        "/v1/clips", files={"file": ("a.mp4", film(b"b"))}, data=filed, headers=other
    )
    assert reply.status_code == 404
    yaml = {"content-type": "application/yaml", "idempotency-key": "once"}
    reply = client.post("/v1/practice-rules", content=RULES, headers=other | yaml)
    assert made(reply)["id"] != story.rules
    assert story.held() == before
    with wired.database.read() as session:
        theirs = session.scalars(select(Clip.object_key).where(Clip.tenant_id == "other")).all()
        assert {owner_of(key) for key in theirs} == {"other"}
        sent = select(Delivery.tenant_id, OutboxEvent.tenant_id).join(
            OutboxEvent, OutboxEvent.id == Delivery.event_id
        )
        assert all(mine == whose for mine, whose in session.execute(sent))


def test_events_go_to_endpoints_of_their_organisation(
    story: Story, as_key: Callable[..., dict[str, str]]
) -> None:
    client, wired = story.client, story.wired
    other = as_key(Scope.ADMIN, tenant="other")
    hook = {"url": "https://hooks.example.org/other"}
    theirs = made(client.post("/v1/webhook-endpoints", json=hook, headers=other))["id"]
    analysed(client, wired, story.session, b"one more")
    with wired.database.read() as session:
        told = set(session.scalars(select(Delivery.endpoint_id)))
    assert story.endpoint in told
    assert theirs not in told


def test_results_of_another_organisation_lie_below_its_own_root(
    story: Story, as_key: Callable[..., dict[str, str]]
) -> None:
    client, wired = story.client, story.wired
    other = as_key(Scope.ADMIN, tenant="other")
    mine = client.headers["authorization"]
    client.headers["authorization"] = other["authorization"]
    analysis = analysed(client, wired, None, b"theirs")
    assert client.get(f"/v1/analyses/{analysis}/result").status_code == 200
    with wired.database.read() as session:
        artifacts = session.get_one(Work, analysis).artifacts
    assert {owner_of(one["key"]) for one in artifacts.values()} == {"other"}
    assert client.delete(f"/v1/analyses/{analysis}").status_code == 202
    client.headers["authorization"] = mine
    assert {owner_of(info.key) for info in wired.objects.list()} == {"main", "other"}  # the film


BOUND = tuple(scope for scope in Scope if scope not in ORGANISATION_WIDE)


def bound(wired: Wiring, player: str, session: str | None = None) -> dict[str, str]:
    key = wired.keys.add("bound", BOUND, player_id=player, session_id=session)
    return {"authorization": f"Bearer {key}"}


@pytest.mark.parametrize("whose", ["player", "session"])
def test_a_key_of_another_player_reaches_nothing(story: Story, app: FastAPI, whose: str) -> None:
    client, wired = story.client, story.wired
    player = new_player(client, "somebody-else")
    session = new_session(client, player, "baseline", 5)
    headers = bound(wired, player, session if whose == "session" else None)
    before = story.held()

    def allowed(call: Call) -> set[int]:
        if call.operation in OF_ALL:
            return {200}
        refused = ("delete_practice_rules", "create_player", "export_player")
        if call.tag in NOBODY or call.operation in refused:
            return {403}
        if call.operation in ("announce_clip", "announce_film_parts"):
            return {409}
        return {404} if call.names_others else {200}

    wrong = [
        one
        for one in tried(story, app, headers, allowed)
        if not any(name in one for name in OF_ALL)
    ]
    assert wrong == []
    assert story.held() == before


def test_a_key_of_another_session_of_the_player_sees_that_session_alone(story: Story) -> None:
    client, wired = story.client, story.wired
    other = new_session(client, story.player, "baseline", 5)
    analysis = analysed(client, wired, other, b"of the other")
    headers = bound(wired, story.player, other)
    for path in (
        f"/v1/players/{story.player}/sessions/{story.session}",
        f"/v1/clips/{story.clip}",
        f"/v1/clips/{story.clip}/content",
        f"/v1/analyses/{story.analysis}",
        f"/v1/analyses/{story.analysis}/result",
        *(one["links"]["self"] for one in _documents(story)),
    ):
        assert client.get(path, headers=headers).status_code == 404, path
    assert client.get(f"/v1/analyses/{analysis}/result", headers=headers).status_code == 200
    listed = client.get("/v1/analyses", headers=headers).json()["items"]
    assert [one["id"] for one in listed] == [analysis]
    whole = client.delete(f"/v1/players/{story.player}", headers=headers)
    assert whole.status_code == 403  # the player is more than that session


def test_a_bound_key_does_its_own_work(story: Story) -> None:
    client, wired = story.client, story.wired
    player = new_player(client, "mine")
    session = new_session(client, player, "baseline", 5)
    of_player, of_session = bound(wired, player), bound(wired, player, session)
    files = {"file": ("serve.mp4", film(b"mine"), "video/mp4")}
    unfiled = client.post("/v1/clips", files=files, headers=of_player)
    assert unfiled.status_code == 422
    assert unfiled.json()["errors"][0]["pointer"] == "/session_id"
    clip = made(client.post("/v1/clips", files=files, headers=of_session))
    assert clip["session_id"] == session  # filed by itself
    asked = client.post("/v1/analyses", json={"clip_id": clip["id"]}, headers=of_player)
    analysis = made(asked)["id"]
    entry.work(wired, attempt_at(analysis, 1))  # no real film: fails, and says so
    shown = client.get(f"/v1/analyses/{analysis}", headers=of_session).json()
    assert shown["status"] == "failed"
    me = client.get(f"/v1/players/{player}", headers=of_player)
    changed = client.patch(
        f"/v1/players/{player}",
        json={"notes": "left wrist"},
        headers={**of_player, "if-match": me.headers["etag"]},
    )
    assert made(changed, 200)["notes"] == "left wrist"
    more = {"kind": "retention", "filmed_at": "2026-05-04T10:00:00Z"}
    path = f"/v1/players/{player}/sessions"
    assert client.post(path, json=more, headers=of_session).status_code == 403
    assert client.post(path, json=more, headers=of_player).status_code == 201
    assert client.delete(f"/v1/clips/{clip['id']}", headers=of_player).status_code == 202


def test_erasing_reaches_what_was_made_with_others(story: Story) -> None:
    """A bound key cannot see a comparison with another player, but its erasure ends it."""
    client, wired = story.client, story.wired
    player = new_player(client, "mine")
    session = new_session(client, player, "baseline", 5)
    mine = analysed(client, wired, session, b"mine")
    both = made(
        client.post(
            "/v1/comparisons",
            json={
                "first": {"label": "a", "analyses": [mine]},
                "second": {"label": "b", "analyses": [story.analysis]},
            },
        )
    )["links"]["self"]
    headers = bound(wired, player)
    assert client.get(both, headers=headers).status_code == 404
    assert client.delete(f"/v1/players/{player}", headers=headers).status_code == 202
    assert client.get(both).status_code == 404
    assert client.get("/v1/players", headers=headers).status_code == 401  # the key went as well


def test_a_cursor_is_of_its_organisation(
    client: httpx.Client, as_key: Callable[..., dict[str, str]]
) -> None:
    for number in range(2):
        new_clip(client, None, str(number).encode())
    cursor = client.get("/v1/clips", params={"limit": 1}).json()["next_cursor"]
    other = as_key(Scope.ADMIN, tenant="other")
    reply = client.get("/v1/clips", params={"limit": 1, "cursor": cursor}, headers=other)
    assert reply.status_code == 400
    assert reply.json()["code"] == "invalid_cursor"


def test_ids_do_not_tell_whether_they_exist(
    story: Story, as_key: Callable[..., dict[str, str]]
) -> None:
    """What is another's is answered like what never was, word for word."""
    other = as_key(Scope.ADMIN, tenant="other")
    never = "0" * 32
    for there, not_there in (
        (f"/v1/clips/{story.clip}", f"/v1/clips/clip_{never}"),
        (f"/v1/players/{story.player}", f"/v1/players/ply_{never}"),
        (f"/v1/analyses/{story.analysis}/result", f"/v1/analyses/ana_{never}/result"),
        (f"/v1/webhook-endpoints/{story.endpoint}", f"/v1/webhook-endpoints/whe_{never}"),
        (f"/v1/api-keys/{story.key}", f"/v1/api-keys/{'0' * 16}"),
        ("/v1/organisations/main", f"/v1/organisations/org_{never}"),
    ):
        answers = []
        for path in (there, not_there):
            reply = client_get(story, path, other)
            answers.append(hashlib.sha256(reply.encode()).hexdigest())
        assert answers[0] == answers[1], there


def client_get(story: Story, path: str, headers: dict[str, str]) -> str:
    """Return an answer without what differs in every one: its request id and address."""
    reply = story.client.get(path, headers=headers)
    body = reply.json()
    del body["request_id"], body["instance"]
    return json.dumps([reply.status_code, body], sort_keys=True)
