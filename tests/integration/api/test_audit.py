"""The audit log: who read or changed what, kept when it is erased, and never altered."""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Callable
from datetime import timedelta
from hashlib import sha256
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from service.core.principal import Scope
from service.core.reach import EVERYTHING
from service.core.tables import Clip
from service.core.wiring import Wiring
from tests.integration.api.coaching import made, new_player, new_session
from tests.integration.api.conftest import TestClient, assert_problem, complete, film
from tests.integration.api.test_consents import recorded
from tests.integration.api.test_keeping import aged, analysed, sent


def entries(client: httpx.Client, **asked: str) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = client.get("/v1/audit", params=asked).json()["items"]
    return [one for one in found if one["action"] != "list_audit_entries"]


def actions(client: httpx.Client, **asked: str) -> list[str]:
    return [one["action"] for one in reversed(entries(client, **asked))]


def test_what_is_made_read_and_erased_is_noted(
    client: httpx.Client, as_key: Callable[..., dict[str, str]], wired: Wiring
) -> None:
    player = new_player(client)
    clip = sent(client, b"noted" * 50, new_session(client, player, "baseline", 1))
    reader = as_key(Scope.CLIPS_READ)
    assert client.get(f"/v1/clips/{clip}/content", headers=reader).status_code == 200
    client.delete(f"/v1/clips/{clip}")
    of_clip = entries(client, subject_id=clip)
    assert [one["action"] for one in of_clip] == ["erase_clip", "read_clip_content", "send_clip"]
    assert {one["player_id"] for one in of_clip} == {player}
    by = {one["action"]: one["actor_id"] for one in of_clip}
    assert by["read_clip_content"] != by["send_clip"] == by["erase_clip"]
    client.delete(f"/v1/players/{player}")
    assert actions(client, player_id=player) == [
        *("create_player", "create_session", "send_clip", "read_clip_content"),
        *("erase_clip", "erase_player"),
    ]


def test_what_is_refused_is_not(
    client: httpx.Client, as_key: Callable[..., dict[str, str]]
) -> None:
    player = new_player(client)
    nothing = as_key(Scope.CLIPS_READ)
    assert client.get(f"/v1/players/{player}", headers=nothing).status_code == 403
    unknown = f"ply_{'0' * 32}"
    assert client.get(f"/v1/players/{unknown}").status_code == 404
    assert entries(client, subject_id=unknown) == []
    assert "read_player" not in actions(client, player_id=player)


def test_a_link_is_named_by_its_id(client: httpx.Client, app: FastAPI, wired: Wiring) -> None:
    player = new_player(client, birth_year=1980)
    clip = sent(client, b"shown" * 50, new_session(client, player, "baseline", 1))
    analysis = analysed(client, wired, clip)
    link = made(client.post("/v1/share-links", json={"of": analysis, "files": ["report.html"]}))
    with TestClient(app) as guest:
        assert guest.get(link["url"]).status_code == 200
        assert guest.get(f"{link['url']}/report.html").status_code == 200
    seen = entries(client, actor_id=link["id"])
    assert [one["action"] for one in seen] == ["shared_file", "shared_page"]
    assert all(one["actor_kind"] == "link" for one in seen)
    assert {one["player_id"] for one in seen} == {player}
    secret = link["url"].rsplit("/", 1)[1]
    assert secret not in json.dumps(client.get("/v1/audit").json())


def test_filters_pages_and_scope(
    client: httpx.Client, as_key: Callable[..., dict[str, str]]
) -> None:
    player = new_player(client)
    for _ in range(5):
        client.get(f"/v1/players/{player}")
    asked = {"action": "read_player", "player_id": player, "limit": 2}
    seen, reply = [], client.get("/v1/audit", params=asked)
    while True:
        seen += reply.json()["items"]
        if reply.json()["next_cursor"] is None:
            break
        reply = client.get("/v1/audit", params={**asked, "cursor": reply.json()["next_cursor"]})
    assert len({one["id"] for one in seen}) == 5
    first = min(one["at"] for one in seen)
    assert entries(client, player_id=player, created_before=first, action="read_player") == []
    assert len(entries(client, player_id=player, created_from=first, action="read_player")) == 5
    reader = as_key(Scope.PLAYERS_READ)
    assert_problem(client.get("/v1/audit", headers=reader), 403, "forbidden")
    other = as_key(Scope.ADMIN, tenant="other")
    elsewhere = client.get("/v1/audit", params={"player_id": player}, headers=other)
    assert elsewhere.json()["items"] == []


@pytest.mark.parametrize(
    "statement", ["UPDATE audit_entries SET actor_id = 'x'", "DELETE FROM audit_entries"]
)
def test_entries_cannot_be_altered(client: httpx.Client, wired: Wiring, statement: str) -> None:
    new_player(client)
    with pytest.raises(DBAPIError, match="only added to"), wired.database.engine.begin() as raw:
        raw.execute(text(statement))


def test_what_goes_by_itself_is_noted(client: httpx.Client, wired: Wiring) -> None:
    clip = sent(client, b"old" * 50)
    aged(wired, timedelta(days=91))
    wired.keeping.run_once()
    assert actions(client, subject_id=clip) == ["send_clip", "remove_film"]
    assert entries(client, subject_id=clip)[0]["actor_kind"] == "service"


def test_everything_about_a_player_is_one_archive(
    client: httpx.Client, as_key: Callable[..., dict[str, str]], wired: Wiring
) -> None:
    player = new_player(client, notes="Left shoulder first.")
    other = new_player(client, external_id="somebody else")
    content = film(b"archive" * 50)
    session = new_session(client, player, "baseline", 1)
    clip = sent(client, b"archive" * 50, session)
    foreign = sent(client, b"foreign" * 50, new_session(client, other, "baseline", 1))
    analysis = made(client.post("/v1/analyses", json={"clip_id": clip}))["id"]
    files = complete(wired, analysis)
    consent = recorded(client, player)
    reply = client.get(f"/v1/players/{player}/export")
    assert reply.headers["content-type"] == "application/zip"
    archive = zipfile.ZipFile(io.BytesIO(reply.content))
    assert archive.testzip() is None
    assert archive.read(f"films/{clip}.mp4") == content
    manifest = json.loads(archive.read("manifest.json"))
    assert manifest["missing"] == []
    names = {one["name"] for one in manifest["files"]}
    assert names | {"manifest.json"} == set(archive.namelist())
    for one in manifest["files"]:
        data = archive.read(one["name"])
        assert (len(data), sha256(data).hexdigest()) == (one["size_bytes"], one["sha256"])
    results = {archive.read(name) for name in names if name.startswith(f"analyses/{analysis}/")}
    assert results == set(files.values())
    assert json.loads(archive.read("player.json"))[0]["notes"] == "Left shoulder first."
    assert json.loads(archive.read("consents.json"))[0]["id"] == consent["id"]
    noted = {one["action"] for one in json.loads(archive.read("audit.json"))}
    assert {"create_player", "send_clip", "record_consent"} <= noted
    assert all(foreign.encode() not in archive.read(name) for name in archive.namelist())
    assert "export_player" in actions(client, player_id=player)
    reader = as_key(Scope.PLAYERS_READ, Scope.CLIPS_READ, Scope.RESULTS_READ)
    refused = client.get(f"/v1/players/{player}/export", headers=reader)
    assert_problem(refused, 403, "forbidden")
    stranger = as_key(Scope.ADMIN, tenant="other")
    unseen = client.get(f"/v1/players/{player}/export", headers=stranger)
    assert_problem(unseen, 404, "not_found")


def test_an_archive_says_what_the_store_has_lost(client: httpx.Client, wired: Wiring) -> None:
    player = new_player(client)
    clip = sent(client, b"lost" * 50, new_session(client, player, "baseline", 1))
    with wired.database.read(EVERYTHING) as session:
        wired.objects.delete(session.get_one(Clip, clip).object_key)
    reply = client.get(f"/v1/players/{player}/export")
    archive = zipfile.ZipFile(io.BytesIO(reply.content))
    assert json.loads(archive.read("manifest.json"))["missing"] == [f"films/{clip}.mp4"]
