"""Results that are read through a link, without a key."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import timedelta
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from sqlalchemy import update

from models.contract.analysis import CAUTIONS, MINOR_CAUTIONS
from models.words import catalogue
from service.core.principal import Scope
from service.core.tables import ShareLink
from service.core.wiring import Wiring
from tests.integration.api.coaching import analysed, made, new_player, new_session
from tests.integration.api.conftest import TestClient, assert_problem, complete, film
from tests.integration.api.organisation_story import finish
from tests.integration.api.test_parallel_repeats import assert_equal, side_by_side


@pytest.fixture
def guest(app: FastAPI) -> Iterator[httpx.Client]:
    """Return a client without a key."""
    with TestClient(app, raise_server_exceptions=False) as client:
        yield client


def share(client: httpx.Client, of: str, *files: str, **more: Any) -> dict[str, Any]:
    body = {"of": of, **({"files": files} if files else {}), **more}
    return made(client.post("/v1/share-links", json=body))


def test_a_report_and_its_film(
    client: httpx.Client, guest: httpx.Client, analysis_id: str, completed: dict[str, bytes]
) -> None:
    link = share(client, analysis_id, "report.html", "clip")
    assert (link["state"], link["views"], link["of"]) == ("open", 0, analysis_id)
    page = guest.get(link["url"], headers={"accept-language": "de"})
    assert page.status_code == 200
    assert page.headers["content-language"] == "de"
    german = catalogue("de")
    for caution in CAUTIONS:
        assert german.note(caution) in page.text
    report = guest.get(f"{link['url']}/report.html")
    assert report.content == completed["report.html"]
    content = guest.get(f"{link['url']}/clip")
    assert content.content == film()
    assert content.headers["content-type"] == "video/mp4"
    piece = guest.get(f"{link['url']}/clip", headers={"range": "bytes=4-7"})
    assert (piece.status_code, piece.content) == (206, b"ftyp")
    for reply in (page, report, content, piece):
        assert reply.headers["referrer-policy"] == "no-referrer"
        assert reply.headers["cache-control"].startswith("private")
        assert reply.headers["x-robots-tag"] == "noindex, nofollow"
    assert '<meta name="robots" content="noindex' in page.text
    assert "sandbox" in report.headers["content-security-policy"]
    guest.get(link["url"])
    guest.head(link["url"])  # only looks whether it is there
    now = client.get(link["links"]["self"]).json()
    assert now["views"] == 2
    assert now["last_viewed_at"] >= now["created_at"]
    assert "url" not in now


def test_nothing_else_is_reachable(
    client: httpx.Client, guest: httpx.Client, analysis_id: str, completed: dict[str, bytes]
) -> None:
    link = share(client, analysis_id)
    assert link["files"] == ["report.html"]
    for name in ("clip", "result", "joints", "joints.npz", "metrics", "film.mp4", "pictures"):
        assert guest.get(f"{link['url']}/{name}").status_code == 404, name
    for path in ("pictures/contact.png", "..%2fv1", "invitation", "uploads"):
        assert guest.get(f"{link['url']}/{path}").status_code == 404, path
    text = link["url"].rpartition("/")[2]
    for headers in ({"authorization": f"Bearer {text}"}, {}):
        assert guest.get(f"/v1/analyses/{analysis_id}", headers=headers).status_code == 401
    assert guest.get(f"/i/{text}").status_code == 404
    assert guest.post(f"{link['url']}").status_code == 405


def test_documents(client: httpx.Client, guest: httpx.Client, wired: Wiring) -> None:
    body = {"external_id": "young", "birth_year": 2014}
    player = made(client.post("/v1/players", json=body))["id"]
    for day, content in ((9, b"one"), (8, b"two")):
        analysed(client, wired, new_session(client, player, "baseline", day), content)
    document = made(client.post(f"/v1/players/{player}/progress", json={}))["id"]
    refused = client.post("/v1/share-links", json={"of": document})
    problem = assert_problem(refused, 409, "work_not_ended")
    assert problem["about"] == document
    finish(wired, document)
    link = share(client, document, "report.html", "film.mp4")
    page = guest.get(link["url"])
    english = catalogue("en")
    for caution in (*CAUTIONS, *MINOR_CAUTIONS):  # the player may be under 18
        assert english.note(caution) in page.text
    assert guest.get(f"{link['url']}/film.mp4").status_code == 200
    reply = client.post("/v1/share-links", json={"of": document, "files": ["clip"]})
    assert assert_problem(reply, 422, "invalid_request")["errors"][0]["pointer"] == "/files/0"
    assert client.delete(f"/v1/players/{player}").status_code == 202
    assert guest.get(link["url"]).status_code == 404
    assert client.get(link["links"]["self"]).status_code == 404


def test_ended_links(
    client: httpx.Client, guest: httpx.Client, wired: Wiring, analysis_id: str, completed: object
) -> None:
    withdrawn, expired = share(client, analysis_id), share(client, analysis_id)
    assert client.delete(withdrawn["links"]["self"]).status_code == 204
    with wired.database.write() as session:
        early = wired.database.now(session) - timedelta(seconds=1)
        session.execute(
            update(ShareLink).where(ShareLink.id == expired["id"]).values(expires_at=early)
        )
    for link, state in ((withdrawn, "revoked"), (expired, "expired")):
        assert_problem(guest.get(link["url"]), 410, "link_ended")
        assert_problem(guest.get(f"{link['url']}/report.html"), 410, "link_ended")
        page = guest.get(link["url"], headers={"accept": "text/html"})
        assert (page.status_code, page.headers["content-type"]) == (410, "text/html; charset=utf-8")
        assert "Ask whoever sent it" in page.text
        assert client.get(link["links"]["self"]).json()["state"] == state
    listed = client.get("/v1/share-links").json()["items"]
    assert [one["id"] for one in listed] == [expired["id"], withdrawn["id"]]


def test_gone_with_its_analysis(
    client: httpx.Client, guest: httpx.Client, analysis_id: str, completed: object
) -> None:
    link = share(client, analysis_id)
    assert client.delete(f"/v1/analyses/{analysis_id}").status_code == 202
    assert guest.get(link["url"]).status_code == 404


def test_whose_it_is(
    client: httpx.Client,
    as_key: Callable[..., dict[str, str]],
    wired: Wiring,
    analysis_id: str,
    clip_id: str,
) -> None:
    body = {"of": analysis_id}
    assert_problem(client.post("/v1/share-links", json=body), 409, "work_not_ended")
    complete(wired, analysis_id)
    link = share(client, analysis_id)
    other = as_key(Scope.ADMIN, tenant="other")
    assert client.get(link["links"]["self"], headers=other).status_code == 404
    assert client.delete(link["links"]["self"], headers=other).status_code == 404
    assert client.post("/v1/share-links", json=body, headers=other).status_code == 404
    assert client.get("/v1/share-links", headers=other).json()["items"] == []
    reading = as_key(Scope.RESULTS_READ)
    assert client.post("/v1/share-links", json=body, headers=reading).status_code == 403
    player = new_player(client)
    key = {"name": "k", "scopes": ["shares:manage"], "player_id": player}
    assert_problem(client.post("/v1/api-keys", json=key), 422, "invalid_request")


def test_parallel_repeats(
    client: httpx.Client, guest: httpx.Client, analysis_id: str, completed: object
) -> None:
    once = {"idempotency-key": "once"}
    body = {"of": analysis_id}
    replies = side_by_side(lambda: client.post("/v1/share-links", json=body, headers=once))
    assert_equal(replies)
    assert guest.get(replies[0].json()["url"]).status_code == 200
    later = client.post("/v1/share-links", json=body, headers=once)
    assert later.json()["url"] == replies[0].json()["url"]
