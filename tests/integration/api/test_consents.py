"""Consents of a player: recorded, given through a link, withdrawn with what films led to."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from sqlalchemy import create_engine, text

from service.core.database import migrate_url
from service.core.principal import Scope
from service.core.tables import Clip, Consent, Player
from service.core.wiring import Wiring
from tests.integration.api.coaching import made, new_player, new_session
from tests.integration.api.conftest import TestClient, assert_problem, complete, film
from tests.integration.api.old_database import THEN
from tests.integration.api.test_intake_links import agree, new_link, sent
from tests.integration.api.tus_client import begin

PAPER = {
    "given_by": "guardian",
    "name": "Robin Vale",
    "given_at": "2026-05-04T09:00:00Z",
    "version": "2026-05",
    "text": "The club may keep the films for a season.",
    "covers": ["analysis", "sharing"],
    "keep_films_days": 240,
}


@pytest.fixture
def guest(app: FastAPI) -> Any:
    with TestClient(app, raise_server_exceptions=False) as client:
        yield client


def recorded(client: httpx.Client, player: str, **more: Any) -> dict[str, Any]:
    return made(client.post(f"/v1/players/{player}/consents", json=PAPER | more))


def test_a_consent_is_recorded_and_read(client: httpx.Client) -> None:
    player = new_player(client)
    made_now = recorded(client, player)
    assert {name: made_now[name] for name in PAPER} == PAPER
    assert made_now["withdrawn_at"] is None
    assert made_now["expires_at"] is None  # nothing is sent under it
    read = client.get(made_now["links"]["self"])
    assert read.json() == made_now
    listed = client.get(f"/v1/players/{player}/consents").json()["items"]
    assert listed == [made_now]
    other = new_player(client, external_id="another")
    assert_problem(client.get(f"/v1/players/{other}/consents/{made_now['id']}"), 404, "not_found")


def test_what_cannot_be_is_refused(client: httpx.Client) -> None:
    player = new_player(client, birth_year=2015)
    where = f"/v1/players/{player}/consents"
    late = client.post(where, json=PAPER | {"given_at": "2999-01-01T00:00:00Z"})
    assert assert_problem(late, 422, "invalid_request")["errors"][0]["pointer"] == "/given_at"
    nowhere = client.post(where, json=PAPER | {"given_at": "2026-01-01T00:00:00"})
    assert assert_problem(nowhere, 422, "invalid_request")["errors"][0]["pointer"] == "/given_at"
    alone = client.post(where, json=PAPER | {"given_by": "player"})
    assert assert_problem(alone, 422, "invalid_request")["errors"][0]["pointer"] == "/given_by"
    assert client.get(where).json()["items"] == []


def test_consents_of_links_are_in_the_same_list(client: httpx.Client, guest: httpx.Client) -> None:
    player = new_player(client)
    wording = {
        "text": "Kept for a year.",
        "version": "2026-07",
        "covers": ["analysis"],
        "keep_films_days": 365,
    }
    link = new_link(client, player_id=player, consent=wording)
    assert link["consent"] == wording
    given = agree(guest, link["url"], version="2026-07")
    sent(guest, link["url"], given)
    (listed,) = client.get(f"/v1/players/{player}/consents").json()["items"]
    assert listed["id"] == given
    assert {name: listed[name] for name in wording} == wording
    assert len(listed["clips"]) == 1


def test_withdrawal_erases_the_films_and_what_was_made_of_them(
    client: httpx.Client, guest: httpx.Client, wired: Wiring
) -> None:
    player = new_player(client)
    session = new_session(client, player, "baseline", 1)
    files = {"file": ("serve.mp4", film(b"by key"), "video/mp4")}
    clip = made(client.post("/v1/clips", files=files, data={"session_id": session}))["id"]
    analysis = made(client.post("/v1/analyses", json={"clip_id": clip}))["id"]
    complete(wired, analysis)
    link = new_link(client, player_id=player)
    given = agree(guest, link["url"])
    sent(guest, link["url"], given)
    other = made(client.post("/v1/clips", files={"file": ("b.mp4", film(b"other"), "video/mp4")}))
    consent = recorded(client, player)
    reply = client.post(f"{consent['links']['self']}/withdrawal")
    assert reply.status_code == 202
    assert reply.json()["of"] == consent["id"]
    assert reply.json()["clips"] == 2
    assert reply.json()["work"] == 1
    assert_problem(client.get(f"/v1/clips/{clip}"), 404, "not_found")
    assert_problem(client.get(f"/v1/analyses/{analysis}"), 404, "not_found")
    assert [info.key for info in wired.objects.list("analyses")] == []
    left = [info.key for info in wired.objects.list("clips")]
    assert left == [f"clips/{other['id']}/film"]
    assert client.get(consent["links"]["self"]).json()["withdrawn_at"] is not None
    assert client.get(f"/v1/players/{player}").status_code == 200


def test_nothing_comes_in_under_a_withdrawn_consent(
    client: httpx.Client, guest: httpx.Client, wired: Wiring
) -> None:
    player = new_player(client)
    link = new_link(client, player_id=player)
    given = agree(guest, link["url"])
    sent(guest, link["url"], given)
    client.post(f"/v1/players/{player}/consents/{given}/withdrawal")
    refused = begin(guest, 1000, f"{link['url']}/uploads", consent=given)
    assert_problem(refused, 409, "consent_needed")
    wired.intake_links.forget_unused()
    with wired.database.read() as session:
        kept = session.get_one(Consent, given)
        assert kept.withdrawn_at is not None
        assert session.query(Clip).count() == 0
    client.delete(f"/v1/players/{player}")
    with wired.database.read() as session:
        assert session.get(Consent, given) is None
        assert session.get(Player, player) is None


def test_scopes(client: httpx.Client, wired: Wiring, as_key: Callable[..., dict[str, str]]) -> None:
    player = new_player(client)
    consent = recorded(client, player)
    where = f"/v1/players/{player}/consents"
    reader = as_key(Scope.PLAYERS_READ)
    assert client.get(where, headers=reader).status_code == 200
    assert_problem(client.post(where, json=PAPER, headers=reader), 403, "forbidden")
    writer = as_key(Scope.PLAYERS_WRITE)
    withdrawal = f"{consent['links']['self']}/withdrawal"
    assert_problem(client.post(withdrawal, headers=writer), 403, "forbidden")
    bound = wired.keys.add("b", [Scope.PLAYERS_READ, Scope.CLIPS_READ], player_id=player)
    own = {"authorization": f"Bearer {bound}"}
    assert len(client.get(where, headers=own).json()["items"]) == 1
    stranger = as_key(*Scope, tenant="other")
    assert_problem(client.get(consent["links"]["self"], headers=stranger), 404, "not_found")
    assert_problem(client.post(withdrawal, headers=stranger), 404, "not_found")


def test_consents_of_before_keep_their_wording(empty_database_url: str) -> None:
    migrate_url(empty_database_url, "0010")
    engine = create_engine(empty_database_url)
    with engine.begin() as connection:
        connection.execute(
            text(
                "INSERT INTO intake_links (id, tenant_id, created_at, label, digest, session_kind,"
                " max_films, expires_at, consent_text, consent_version) VALUES ('lnk_1', 'main',"
                " :moment, 'Court', 'd', 'baseline', 3, :moment, 'Kept a year.', '2025-01')"
            ),
            {"moment": THEN},
        )
        connection.execute(
            text(
                "INSERT INTO intake_consents (id, tenant_id, link_id, created_at, expires_at,"
                " given_by, name, version) VALUES ('cns_1', 'main', 'lnk_1', :moment, :moment,"
                " 'guardian', 'Robin Vale', '2025-01')"
            ),
            {"moment": THEN},
        )
    migrate_url(empty_database_url)
    with engine.connect() as connection:
        row = connection.execute(
            text("SELECT text, covers, given_at = created_at AS same FROM intake_consents")
        ).one()
    engine.dispose()
    assert row.text == "Kept a year."
    assert row.covers in ('["analysis"]', ["analysis"])
    assert row.same
