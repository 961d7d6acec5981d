"""Share links show no face of a possible minor, whatever the results hold beside."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

import httpx
import pytest
from fastapi import FastAPI

from models.words import catalogue
from service.core.claims import StoredFile
from service.core.kinds import kind_of
from service.core.wiring import Wiring
from tests.integration.api.coaching import made, new_clip, new_player, new_session
from tests.integration.api.conftest import TestClient, assert_problem, complete, film
from tests.integration.api.test_keeping import aged, keys, rule
from tests.integration.api.test_share_links import share

PLANTED = b"planted face of a child"
"""Stands for a picture of a face: no guest may be sent it."""
SHOWN = ("report.html", "film.mp4", "pictures/serve-1-trophy.jpg")
THIS_YEAR = datetime.now(UTC).year


@pytest.fixture
def guest(app: FastAPI) -> Iterator[httpx.Client]:
    """Return a client without a key."""
    with TestClient(app, raise_server_exceptions=False) as client:
        yield client


def ended(wired: Wiring, work_id: str, *, variants: bool) -> None:
    """End work as a worker does: files with the face, and perhaps those without."""
    claim = wired.work.claim(kind_of(work_id), work_id, 1, "w")
    contents = {name: PLANTED + name.encode() for name in SHOWN} | {"result": b"{}"}
    if variants:
        contents |= {f"hidden/{name}": b"no face " + name.encode() for name in SHOWN}
    artifacts = {}
    for name, data in contents.items():
        key = f"{claim.result_prefix}/{name}"
        wired.objects.put_bytes(key, data, "text/plain")
        digest = hashlib.sha256(data).hexdigest()
        artifacts[name] = StoredFile(key, digest, len(data), "text/plain")
    wired.work.complete(work_id, 1, artifacts)


def analysis_of(
    client: httpx.Client, wired: Wiring, player: str | None, *, variants: bool, **options: str
) -> str:
    session = None if player is None else new_session(client, player, "baseline", 3)
    clip = new_clip(client, session, PLANTED)
    body = {"clip_id": clip, "options": options}
    analysis = str(made(client.post("/v1/analyses", json=body))["id"])
    ended(wired, analysis, variants=variants)
    return analysis


@pytest.mark.parametrize("known", [{"birth_year": THIS_YEAR - 12}, {}])
def test_of_a_possible_minor_the_file_without_faces_is_sent(
    client: httpx.Client, guest: httpx.Client, wired: Wiring, known: dict[str, int]
) -> None:
    player = new_player(client, **known)
    analysis = analysis_of(client, wired, player, variants=True)
    link = share(client, analysis, "report.html", "film.mp4", "clip")
    for name in ("report.html", "film.mp4"):
        coach = client.get(f"/v1/analyses/{analysis}/{name}")
        reply = guest.get(f"{link['url']}/{name}")
        assert coach.content == PLANTED + name.encode()
        assert reply.content == b"no face " + name.encode()
        assert reply.headers["etag"] != coach.headers["etag"]
        piece = guest.get(f"{link['url']}/{name}", headers={"range": "bytes=0-6"})
        assert piece.content == b"no face"
    refused = guest.get(f"{link['url']}/clip")
    assert "hidden faces" in assert_problem(refused, 404, "not_found")["detail"]
    page = guest.get(link["url"])
    english = catalogue("en")
    assert english("shared.left_out") in page.text  # the film as it came
    assert english("shared.faces_hidden") in page.text
    assert f"{link['url'].rpartition('/')[2]}/clip" not in page.text
    for path in ("hidden/report.html", "hidden%2freport.html", "hidden/film.mp4"):
        assert guest.get(f"{link['url']}/{path}").status_code == 404
    state = client.get(f"/v1/analyses/{analysis}").json()
    assert not any("hidden/" in address for address in state["links"].values())
    assert [one.rpartition("/")[2] for one in state["pictures"]] == ["serve-1-trophy.jpg"]


def test_of_an_adult_the_file_with_faces_is_sent(
    client: httpx.Client, guest: httpx.Client, wired: Wiring
) -> None:
    player = new_player(client, birth_year=THIS_YEAR - 30)
    analysis = analysis_of(client, wired, player, variants=True)
    link = share(client, analysis, "report.html", "clip")
    assert guest.get(f"{link['url']}/report.html").content == PLANTED + b"report.html"
    assert guest.get(f"{link['url']}/clip").content == film(PLANTED)
    page = guest.get(link["url"]).text
    assert catalogue("en")("shared.faces_hidden") not in page
    assert catalogue("en")("shared.left_out") not in page


def test_it_is_decided_when_the_link_is_opened(
    client: httpx.Client, guest: httpx.Client, wired: Wiring
) -> None:
    player = new_player(client, birth_year=THIS_YEAR - 30)
    analysis = analysis_of(client, wired, player, variants=False)
    link = share(client, analysis)
    assert guest.get(f"{link['url']}/report.html").status_code == 200
    address = f"/v1/players/{player}"
    tag = {"if-match": client.get(address).headers["etag"]}
    reply = client.patch(address, json={"birth_year": THIS_YEAR - 14}, headers=tag)
    assert reply.status_code == 200, reply.text
    assert guest.get(f"{link['url']}/report.html").status_code == 404


def test_an_older_analysis_of_a_minor_is_left_out_and_the_page_says_why(
    client: httpx.Client, guest: httpx.Client, wired: Wiring
) -> None:
    player = new_player(client, birth_year=THIS_YEAR - 12)
    analysis = analysis_of(client, wired, player, variants=False)
    link = share(client, analysis, "report.html", "film.mp4")
    for language in ("en", "de"):
        words = catalogue(language)
        page = guest.get(link["url"], headers={"accept-language": language})
        assert page.status_code == 200
        assert words("shared.left_out") in page.text
        assert words("shared.report") not in page.text
        assert "<video" not in page.text
        assert words("shared.faces_hidden") not in page.text
    for name in ("report.html", "film.mp4"):
        assert_problem(guest.get(f"{link['url']}/{name}"), 404, "not_found")


def test_an_analysis_with_hidden_faces_is_sent_as_it_is(
    client: httpx.Client, guest: httpx.Client, wired: Wiring
) -> None:
    player = new_player(client, birth_year=THIS_YEAR - 12)
    analysis = analysis_of(client, wired, player, variants=False, faces="hidden")
    assert client.get(f"/v1/analyses/{analysis}").json()["options"]["faces"] == "hidden"
    link = share(client, analysis, "report.html", "clip")
    assert guest.get(f"{link['url']}/report.html").content == PLANTED + b"report.html"
    assert guest.get(f"{link['url']}/clip").status_code == 404  # shows what it always showed


@pytest.mark.parametrize("variants", [True, False])
def test_a_comparison_of_an_adult_with_a_minor(
    client: httpx.Client, guest: httpx.Client, wired: Wiring, variants: bool
) -> None:
    sides = []
    for number, born in enumerate((THIS_YEAR - 30, THIS_YEAR - 12)):
        player = new_player(client, f"member-{number}", birth_year=born)
        session = new_session(client, player, "baseline", 3)
        clip = new_clip(client, session, b"%d" % number)
        sides.append(made(client.post("/v1/analyses", json={"clip_id": clip}))["id"])
        complete(wired, sides[-1])
    body = {"first": {"label": "a", "analyses": sides[:1]}}
    body["second"] = {"label": "b", "analyses": sides[1:]}
    comparison = made(client.post("/v1/comparisons", json=body))["id"]
    ended(wired, comparison, variants=variants)
    link = share(client, comparison, "report.html", "film.mp4")
    for name in ("report.html", "film.mp4"):
        reply = guest.get(f"{link['url']}/{name}")
        assert PLANTED not in reply.content
        assert reply.status_code == (200 if variants else 404)


def test_both_sets_go_with_an_erasure(client: httpx.Client, wired: Wiring) -> None:
    player = new_player(client, birth_year=THIS_YEAR - 12)
    analysis = analysis_of(client, wired, player, variants=True)
    assert len([one.key for one in wired.objects.list("analyses")]) == 7
    assert client.delete(f"/v1/analyses/{analysis}").status_code == 202
    assert not any(key.startswith("analyses/") for key in keys(wired))


def test_both_sets_go_when_their_time_is_over(
    client: httpx.Client, guest: httpx.Client, wired: Wiring
) -> None:
    player = new_player(client, birth_year=THIS_YEAR - 12)
    analysis = analysis_of(client, wired, player, variants=True)
    link = share(client, analysis)
    rule(client, reports_days=30)
    aged(wired, timedelta(days=40))
    assert wired.keeping.run_once() == 1
    left = {key.rpartition("/")[2] for key in keys(wired) if key.startswith("analyses/")}
    assert left == {"result"}
    assert_problem(guest.get(f"{link['url']}/report.html"), 410, "no_longer_kept")
