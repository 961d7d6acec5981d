"""Films that come in through a link, without a key."""

from __future__ import annotations

import hashlib
import logging
from collections.abc import Callable, Iterator
from datetime import timedelta
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from sqlalchemy import select, update

from service.core.link_text import link_text
from service.core.principal import Scope
from service.core.settings import Settings
from service.core.tables import Base, Clip, Consent, FilmedSession, IntakeLink
from service.core.wiring import Wiring
from tests.integration.api.coaching import made, new_player, new_session
from tests.integration.api.conftest import TestClient, assert_problem, film
from tests.integration.api.test_parallel_repeats import assert_equal, side_by_side
from tests.integration.api.tus_client import SPOKEN, address, begin, offset, part

CONSENT = {"text": "The club may keep the film.\nAsk us to erase it.", "version": "2026-05"}
GIVEN = {"given_by": "guardian", "name": "Robin Vale", "version": "2026-05"}
FILM = film(b"through a link" * 500)


@pytest.fixture
def guest(app: FastAPI) -> Iterator[httpx.Client]:
    """Return a client without a key."""
    with TestClient(app, raise_server_exceptions=False) as client:
        yield client


def new_link(client: httpx.Client, **more: Any) -> dict[str, Any]:
    body = {"label": "Court Three", "consent": CONSENT, **more}
    return made(client.post("/v1/intake-links", json=body))


def agree(guest: httpx.Client, url: str, **more: str) -> str:
    reply = guest.post(f"{url}/consents", json={**GIVEN, **more})
    return str(made(reply)["id"])


def sent(guest: httpx.Client, url: str, consent: str, content: bytes = FILM) -> dict[str, Any]:
    """Send a film in two parts; return the upload."""
    where = address(begin(guest, len(content), f"{url}/uploads", consent=consent))
    assert part(guest, where, 0, content[:1000]).status_code == 204
    assert offset(guest, where) == 1000
    assert part(guest, where, 1000, content[1000:]).status_code == 204
    shown: dict[str, Any] = guest.get(where).json()
    return shown


def test_a_film_of_a_player_comes_in(
    client: httpx.Client, guest: httpx.Client, wired: Wiring
) -> None:
    player = new_player(client)
    link = new_link(
        client, player_id=player, session_kind="retention", analyse={"height_m": 1.6},
        external_ref="spring", max_films=3,
    )  # fmt: skip
    assert (link["state"], link["films"], link["player_id"]) == ("open", 0, player)
    assert link["url"].startswith("/i/")
    told = guest.get(f"{link['url']}/invitation").json()
    assert told["consent"] == {**CONSENT, "covers": ["analysis"], "keep_films_days": None}
    assert (told["label"], told["films_left"], told["guardian_only"]) == ("Court Three", 3, False)
    consent = agree(guest, link["url"])
    upload = sent(guest, link["url"], consent)
    assert upload["state"] == "finished"
    clip = client.get(f"/v1/clips/{upload['clip_id']}").json()
    assert client.get(f"/v1/clips/{clip['id']}/content").content == FILM
    assert clip["external_ref"] == "spring"
    # Filed under a session of the player, made for the visit.
    session = client.get(f"/v1/players/{player}/sessions/{clip['session_id']}").json()
    assert session["kind"] == "retention"
    second = sent(guest, link["url"], consent, film(b"second" * 500))
    assert client.get(f"/v1/clips/{second['clip_id']}").json()["session_id"] == clip["session_id"]
    later = agree(guest, link["url"])
    third = sent(guest, link["url"], later, film(b"third" * 500))
    assert client.get(f"/v1/clips/{third['clip_id']}").json()["session_id"] != clip["session_id"]
    # Its analysis was started, with what the link says.
    (analysis,) = client.get("/v1/analyses", params={"clip_id": clip["id"]}).json()["items"]
    assert analysis["options"]["height_m"] == 1.6
    # What the organisation sees of it.
    now = client.get(link["links"]["self"]).json()
    assert (now["state"], now["films"]) == ("full", 3)
    assert now["bytes"] == len(FILM) + len(film(b"second" * 500)) + len(film(b"third" * 500))
    consents = client.get(link["links"]["consents"]).json()["items"]
    assert [one["id"] for one in consents] == [later, consent]
    assert consents[1]["clips"] == [clip["id"], second["clip_id"]]
    assert {key: consents[1][key] for key in GIVEN} == GIVEN
    assert consents[1]["session_id"] == clip["session_id"]


def test_an_open_call(client: httpx.Client, guest: httpx.Client) -> None:
    link = new_link(client, max_bytes=len(FILM) + 10)
    upload = sent(guest, link["url"], agree(guest, link["url"], given_by="player"))
    clip = client.get(f"/v1/clips/{upload['clip_id']}").json()
    assert clip["session_id"] is None
    again = agree(guest, link["url"])
    reply = begin(guest, 11, f"{link['url']}/uploads", consent=again)
    problem = assert_problem(reply, 409, "link_full")
    assert "10 are left" in problem["detail"]
    assert problem["about"] == link["id"]


def test_into_a_session(client: httpx.Client, guest: httpx.Client) -> None:
    player = new_player(client)
    session = new_session(client, player, "baseline", 9)
    link = new_link(client, session_id=session)
    assert (link["player_id"], link["session_id"]) == (player, session)
    upload = sent(guest, link["url"], agree(guest, link["url"]))
    assert client.get(f"/v1/clips/{upload['clip_id']}").json()["session_id"] == session
    other = new_player(client, "other")
    body = {"label": "x", "consent": CONSENT, "session_id": session, "player_id": other}
    assert_problem(client.post("/v1/intake-links", json=body), 404, "not_found")


def test_no_film_without_consent(client: httpx.Client, guest: httpx.Client, wired: Wiring) -> None:
    link, other = new_link(client), new_link(client)
    where = f"{link['url']}/uploads"
    assert_problem(begin(guest, 5, where), 409, "consent_needed")
    elsewhere = agree(guest, other["url"])
    assert_problem(begin(guest, 5, where, consent=elsewhere), 409, "consent_needed")
    old = {**GIVEN, "version": "2025"}
    assert_problem(guest.post(f"{link['url']}/consents", json=old), 409, "consent_needed")
    consent = agree(guest, link["url"])
    with wired.database.write() as session:
        early = wired.database.now(session) - timedelta(seconds=1)
        session.execute(update(Consent).values(expires_at=early))
    assert_problem(begin(guest, 5, where, consent=consent), 409, "consent_needed")
    wired.reconciler().run_once()  # nothing came under them
    assert client.get(link["links"]["consents"]).json()["items"] == []


def test_a_minor_does_not_consent_alone(client: httpx.Client, guest: httpx.Client) -> None:
    body = {"external_id": "young", "birth_year": 2014}
    player = made(client.post("/v1/players", json=body))["id"]
    link = new_link(client, player_id=player)
    assert guest.get(f"{link['url']}/invitation").json()["guardian_only"] is True
    reply = guest.post(f"{link['url']}/consents", json={**GIVEN, "given_by": "player"})
    problem = assert_problem(reply, 422, "invalid_request")
    assert problem["errors"][0]["pointer"] == "/given_by"
    assert agree(guest, link["url"])


def test_ended_links(client: httpx.Client, guest: httpx.Client, wired: Wiring) -> None:
    link = new_link(client)
    consent = agree(guest, link["url"])
    where = address(begin(guest, len(FILM), f"{link['url']}/uploads", consent=consent))
    with wired.database.write() as session:
        early = wired.database.now(session) - timedelta(seconds=1)
        session.execute(update(IntakeLink).values(expires_at=early))
    assert client.get(link["links"]["self"]).json()["state"] == "expired"
    for path, body in (("invitation", None), ("consents", GIVEN)):
        reply = guest.request("POST" if body else "GET", f"{link['url']}/{path}", json=body)
        assert_problem(reply, 410, "link_ended")
    reply = begin(guest, 5, f"{link['url']}/uploads", consent=consent)
    assert_problem(reply, 410, "link_ended")
    # What was under way goes on ...
    assert part(guest, where, 0, FILM[:1000]).status_code == 204
    # ... unless the link is withdrawn.
    assert client.delete(link["links"]["self"]).status_code == 204
    assert client.delete(link["links"]["self"]).status_code == 204
    assert_problem(part(guest, where, 1000, FILM[1000:]), 410, "link_ended")
    assert client.get(link["links"]["self"]).json()["state"] == "revoked"


def test_made_up_addresses(client: httpx.Client, guest: httpx.Client, app: FastAPI) -> None:
    link = new_link(client)
    text = link["url"].rpartition("/")[2]
    swapped = "A" if text[-1] != "A" else "B"
    forged = link_text(app.state.link_secret(), link["id"], "0" * 64)  # signed, another secret
    for wrong in (text[:-1] + swapped, text[:-1], text + "A", "x", forged, "ä" * 80, "A" * 80):
        assert_problem(guest.get(f"/i/{wrong}/invitation"), 404, "not_found")
        page = guest.get(f"/i/{wrong}", headers={"accept": "text/html", "accept-language": "de"})
        assert page.status_code == 404
        assert '<html lang="de"' in page.text
    share = link_text(app.state.link_secret(), "shr_" + link["id"][4:], "0" * 64)
    assert guest.get(f"/i/{share}/invitation").status_code == 404
    assert guest.get(f"/s/{text}").status_code == 404
    assert guest.get(f"/i/{text}").status_code == 200


def test_only_a_digest_is_kept_and_nothing_is_logged(
    client: httpx.Client, guest: httpx.Client, wired: Wiring, caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.DEBUG):
        link = new_link(client)
        text = link["url"].rpartition("/")[2]
        sent(guest, link["url"], agree(guest, link["url"]))
        guest.get(link["url"])
    assert f"/i/{text[:8]}" not in caplog.text
    assert "/i/…/uploads" in caplog.text
    assert "Robin Vale" not in caplog.text
    assert text not in client.get(link["links"]["self"]).text
    with wired.database.read() as session:
        for table in Base.metadata.sorted_tables:
            for row in session.execute(select(table)):
                assert text[24:60] not in repr(tuple(row))


def test_a_link_reaches_its_own_uploads_alone(
    client: httpx.Client, guest: httpx.Client, as_key: Callable[..., dict[str, str]]
) -> None:
    mine, other = new_link(client), new_link(client)
    consent = agree(guest, mine["url"])
    where = address(begin(guest, len(FILM), f"{mine['url']}/uploads", consent=consent))
    name = where.rpartition("/")[2]
    through = f"{other['url']}/uploads/{name}"
    assert guest.head(through, headers=SPOKEN).status_code == 404
    assert part(guest, through, 0, FILM).status_code == 404
    assert guest.get(through).status_code == 404
    assert guest.delete(through, headers=SPOKEN).status_code == 404
    assert_problem(guest.get(f"/v1/uploads/{name}"), 401, "unauthenticated")
    by_key = address(begin(client, 500))
    assert guest.get(f"{mine['url']}/uploads/{by_key.rpartition('/')[2]}").status_code == 404
    # Another organisation sees none of it; a key without the scope may not ask.
    theirs = as_key(Scope.ADMIN, tenant="other")
    assert client.get(mine["links"]["self"], headers=theirs).status_code == 404
    assert client.get("/v1/intake-links", headers=theirs).json()["items"] == []
    writer = as_key(Scope.CLIPS_WRITE)
    assert client.get("/v1/intake-links", headers=writer).status_code == 403


def test_a_guest_cannot_undo_what_came(client: httpx.Client, guest: httpx.Client) -> None:
    link = new_link(client, max_films=1)
    consent = agree(guest, link["url"])
    upload = sent(guest, link["url"], consent)
    assert guest.delete(upload["links"]["self"], headers=SPOKEN).status_code == 204
    assert client.get(f"/v1/clips/{upload['clip_id']}").status_code == 200
    assert client.get(link["links"]["self"]).json()["films"] == 1
    reply = begin(guest, 5, f"{link['url']}/uploads", consent=consent)
    assert_problem(reply, 409, "link_full")


def test_erasing(client: httpx.Client, guest: httpx.Client, wired: Wiring) -> None:
    player = new_player(client)
    link = new_link(client, player_id=player)
    consent = agree(guest, link["url"])
    upload = sent(guest, link["url"], consent)
    coming = address(begin(guest, len(FILM), f"{link['url']}/uploads", consent=consent))
    part(guest, coming, 0, FILM[:3000])
    # A clip takes its consent along, unless more came under it.
    assert client.delete(f"/v1/clips/{upload['clip_id']}").status_code == 202
    assert len(client.get(link["links"]["consents"]).json()["items"]) == 1
    assert client.delete(f"/v1/players/{player}").status_code == 202
    assert list(wired.objects.list()) == []
    with wired.database.read() as session:
        for table in (IntakeLink, Consent, Clip, FilmedSession):
            assert session.scalars(select(table)).all() == [], table
    assert_problem(guest.get(f"{link['url']}/invitation"), 404, "not_found")
    call = new_link(client)
    alone = sent(guest, call["url"], agree(guest, call["url"]))
    assert client.delete(f"/v1/clips/{alone['clip_id']}").status_code == 202
    assert client.get(call["links"]["consents"]).json()["items"] == []


def test_erasing_the_session_of_a_visit(
    client: httpx.Client, guest: httpx.Client, wired: Wiring
) -> None:
    player = new_player(client)
    link = new_link(client, player_id=player)
    consent = agree(guest, link["url"])
    clip = client.get(f"/v1/clips/{sent(guest, link['url'], consent)['clip_id']}").json()
    coming = address(begin(guest, len(FILM), f"{link['url']}/uploads", consent=consent))
    part(guest, coming, 0, FILM[:3000])
    path = f"/v1/players/{player}/sessions/{clip['session_id']}"
    assert client.delete(path).status_code == 202
    assert list(wired.objects.list()) == []
    assert guest.head(coming, headers=SPOKEN).status_code == 404
    assert client.get(link["links"]["self"]).json()["state"] == "open"


def test_parallel_repeats(client: httpx.Client, guest: httpx.Client, wired: Wiring) -> None:
    once = {"idempotency-key": "once"}
    body = {"label": "Court Three", "consent": CONSENT}
    replies = side_by_side(lambda: client.post("/v1/intake-links", json=body, headers=once))
    assert_equal(replies)
    url = replies[0].json()["url"]
    assert guest.get(f"{url}/invitation").status_code == 200
    given = side_by_side(lambda: guest.post(f"{url}/consents", json=GIVEN, headers=once))
    assert_equal(given)
    consent = given[0].json()["id"]
    uploads = side_by_side(
        lambda: begin(guest, 5000, f"{url}/uploads", headers=once, consent=consent)
    )
    assert_equal(uploads)
    assert client.get(replies[0].json()["links"]["self"]).json()["films"] == 1


def test_two_do_not_go_over_the_limit(client: httpx.Client, guest: httpx.Client) -> None:
    link = new_link(client, max_films=3)
    consent = agree(guest, link["url"])
    replies = side_by_side(lambda: begin(guest, 50, f"{link['url']}/uploads", consent=consent))
    assert sorted(reply.status_code for reply in replies) == [201] * 3 + [409] * 17


class TestRates:
    """Requests without a key are counted by address and by link."""

    @pytest.fixture
    def settings(self, settings: Settings) -> Settings:
        return settings.model_copy(update={"limit_link_requests_per_minute": 5})

    def test_too_many(self, client: httpx.Client, guest: httpx.Client) -> None:
        link = new_link(client)
        replies = [guest.get(f"{link['url']}/invitation") for _ in range(12)]
        assert {reply.status_code for reply in replies} == {200, 429}
        refused = assert_problem(replies[-1], 429, "rate_limited")
        assert "5 requests a minute" in refused["detail"]
        assert 1 <= int(replies[-1].headers["retry-after"]) <= 60
        assert guest.get("/i/made-up").status_code == 429  # by address
        assert client.get(link["links"]["self"]).status_code == 200  # a key is not held up


def test_the_page(client: httpx.Client, guest: httpx.Client) -> None:
    link = new_link(client, label="<b>Court & Co</b>", consent={**CONSENT, "text": "</script>"})
    pages = {}
    for language in ("en", "de"):
        reply = guest.get(link["url"], headers={"accept-language": language})
        assert reply.status_code == 200
        assert reply.headers["content-language"] == language
        assert f'<html lang="{language}"' in reply.text
        pages[language] = reply
    page = pages["en"]
    assert "<b>Court" not in page.text
    assert page.text.count("</script>") == 2
    policy = page.headers["content-security-policy"]
    assert "script-src 'self'" in policy
    assert "unsafe-inline'; script" not in policy
    assert page.headers["referrer-policy"] == "no-referrer"
    assert page.headers["x-robots-tag"].startswith("noindex")
    assert page.headers["cache-control"] == "private, no-store"
    assert guest.get(link["url"] + "?from=a-message").status_code == 200
    script = guest.get("/assets/intake.js")
    assert script.headers["content-type"].startswith("text/javascript")
    known = {"if-none-match": script.headers["etag"]}
    assert guest.get("/assets/intake.js", headers=known).status_code == 304


def test_the_digest_that_is_kept_is_sha256(client: httpx.Client, wired: Wiring) -> None:
    import base64

    link = new_link(client)
    raw = base64.urlsafe_b64decode(link["url"].rpartition("/")[2])
    with wired.database.read() as session:
        row = session.scalars(select(IntakeLink)).one()
    assert row.digest == hashlib.sha256(raw[16:48]).hexdigest()
