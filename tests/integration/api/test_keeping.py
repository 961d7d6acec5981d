"""How long films, joints and reports are kept: told, carried out, and what stays."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

import httpx
import pytest
from sqlalchemy import update

from service.core.keeping import Rule
from service.core.principal import Scope
from service.core.reach import EVERYTHING
from service.core.tables import Clip, Organisation, Work
from service.core.wiring import Wiring
from tests.integration.api.coaching import made, new_player, new_session
from tests.integration.api.conftest import assert_problem, complete, film
from tests.integration.api.test_consents import PAPER

LONG_AGO = timedelta(days=400)


def sent(client: httpx.Client, content: bytes, session: str | None = None) -> str:
    said = {} if session is None else {"session_id": session}
    files = {"file": ("serve.mp4", film(content), "video/mp4")}
    return str(made(client.post("/v1/clips", files=files, data=said))["id"])


def analysed(client: httpx.Client, wired: Wiring, clip: str) -> str:
    analysis = str(made(client.post("/v1/analyses", json={"clip_id": clip}))["id"])
    complete(wired, analysis)
    return analysis


def kept(client: httpx.Client, of: str) -> dict[str, Any]:
    shown: dict[str, Any] = client.get(f"/v1/keeping/{of}").json()
    return shown


def rule(client: httpx.Client, **days: int) -> None:
    where = "/v1/organisations/main"
    tag = client.get(where).headers["etag"]
    reply = client.patch(where, json={"keeping": days}, headers={"if-match": tag})
    assert reply.status_code == 200, reply.text


def aged(wired: Wiring, by: timedelta) -> None:
    """Make everything so much older than it is, the rule included."""
    with wired.database.write(EVERYTHING) as session:
        for table, columns in (
            (Clip, ("created_at",)),
            (Work, ("created_at", "finished_at")),
            (Organisation, ("created_at", "keeping_since")),
        ):
            for row in session.query(table):
                for name in columns:
                    moment = getattr(row, name)
                    if moment is not None:
                        setattr(row, name, moment - by)


def keys(wired: Wiring) -> set[str]:
    wired.reconciler().run_once()  # sweeps
    return {info.key for info in wired.objects.list()}


@pytest.mark.parametrize(
    ("given", "minor", "agreed", "expected"),
    [
        (Rule(), False, 0, (0, "organisation")),
        (Rule(minors_films_days=90), False, 0, (0, "organisation")),
        (Rule(minors_films_days=90), True, 0, (90, "minor")),
        (Rule(minors_films_days=90), True, 30, (90, "minor")),
        (Rule(minors_films_days=90), True, 240, (240, "consent")),
        (Rule(films_days=120, minors_films_days=90), True, 240, (120, "organisation")),
        (Rule(films_days=30, minors_films_days=90), True, 0, (30, "organisation")),
        (Rule(films_days=365), True, 0, (365, "organisation")),
    ],
)
def test_how_long_a_film_is_kept(
    given: Rule, minor: bool, agreed: int, expected: tuple[int, str]
) -> None:
    assert given.film(minor, agreed) == expected


def test_films_of_possible_minors_go_after_90_days(client: httpx.Client, wired: Wiring) -> None:
    ages = {"minor": 2015, "unknown": None, "grown": 1980}
    clips = {}
    for name, year in ages.items():
        player = new_player(client, external_id=name, birth_year=year)
        session = new_session(client, player, "baseline", 1)
        clips[name] = sent(client, name.encode() * 50, session)
    clips["nobody"] = sent(client, b"nobody" * 50)
    grounds = {name: kept(client, clip)["film_because"] for name, clip in clips.items()}
    assert grounds == {"minor": "minor", "unknown": "minor", "nobody": "minor", "grown": None}
    created = datetime.fromisoformat(client.get(f"/v1/clips/{clips['minor']}").json()["created_at"])
    until = datetime.fromisoformat(kept(client, clips["minor"])["film_until"])
    assert until - created == timedelta(days=90)
    aged(wired, timedelta(days=89))
    assert wired.keeping.run_once() == 0
    aged(wired, timedelta(days=2))
    assert wired.keeping.run_once() == 3
    assert keys(wired) == {f"clips/{clips['grown']}/film"}
    gone = client.get(f"/v1/clips/{clips['minor']}/content")
    assert_problem(gone, 410, "no_longer_kept")
    again = client.post("/v1/analyses", json={"clip_id": clips["minor"]})
    assert_problem(again, 410, "no_longer_kept")
    assert kept(client, clips["minor"])["film_removed_at"] is not None
    shown = client.get(f"/v1/clips/{clips['minor']}").json()
    assert (shown["sha256"], shown["size_bytes"]) == (None, None)
    assert "content" not in shown["links"]
    erasures = client.get("/v1/erasures").json()["items"]
    assert {one["of"] for one in erasures} == set(clips.values()) - {clips["grown"]}
    assert all(one["state"] == "completed" for one in erasures)


def test_a_film_sent_again_after_its_time_is_a_new_one(client: httpx.Client, wired: Wiring) -> None:
    first = sent(client, b"twice" * 99)
    aged(wired, timedelta(days=91))
    wired.keeping.run_once()
    keys(wired)
    second = sent(client, b"twice" * 99)
    assert second != first
    assert client.get(f"/v1/clips/{second}/content").status_code == 200


def test_a_consent_that_says_longer_goes_before(client: httpx.Client, wired: Wiring) -> None:
    player = new_player(client, birth_year=2015)
    clip = sent(client, b"longer" * 50, new_session(client, player, "baseline", 1))
    bound = wired.keys.add("b", [Scope.CLIPS_READ], player_id=player)
    own = client.get(f"/v1/keeping/{clip}", headers={"authorization": f"Bearer {bound}"})
    assert own.json()["film_because"] == "minor"
    where = f"/v1/players/{player}/consents"
    made(client.post(where, json={**PAPER, "keep_films_days": 240}))
    assert kept(client, clip)["film_because"] == "consent"
    aged(wired, timedelta(days=200))
    assert wired.keeping.run_once() == 0
    aged(wired, timedelta(days=41))
    assert wired.keeping.run_once() == 1


def test_joints_and_reports_go_by_rules_of_their_own(client: httpx.Client, wired: Wiring) -> None:
    player = new_player(client, birth_year=1980)
    clip = sent(client, b"apart" * 50, new_session(client, player, "baseline", 1))
    analysis = analysed(client, wired, clip)
    where = f"/v1/analyses/{analysis}"
    rule(client, joints_days=30, reports_days=60)
    shown = kept(client, analysis)
    assert shown["joints_until"] < shown["reports_until"]
    aged(wired, timedelta(days=31))
    assert wired.keeping.run_once() == 1
    assert_problem(client.get(f"{where}/joints"), 410, "no_longer_kept")
    assert client.get(f"{where}/report.html").status_code == 200
    again = client.post(f"{where}/again")
    assert_problem(again, 410, "no_longer_kept")
    aged(wired, timedelta(days=30))
    assert wired.keeping.run_once() == 1
    assert_problem(client.get(f"{where}/report.html"), 410, "no_longer_kept")
    for name in ("result", "events", "metrics"):
        assert client.get(f"{where}/{name}").status_code == 200
    left = keys(wired)
    assert f"clips/{clip}/film" in left
    assert {key.rsplit("/", 1)[1] for key in left if analysis in key} == {
        "result.json",
        "events.json",
        "metrics.json",
    }


def test_a_changed_rule_removes_nothing_for_a_week(client: httpx.Client, wired: Wiring) -> None:
    sent(client, b"week" * 50)
    aged(wired, LONG_AGO)
    rule(client, films_days=1)
    assert wired.keeping.run_once() == 0
    aged(wired, timedelta(days=8))
    assert wired.keeping.run_once() == 1


def test_what_unfinished_work_reads_is_left(client: httpx.Client, wired: Wiring) -> None:
    clip = sent(client, b"in use" * 50)
    analysis = made(client.post("/v1/analyses", json={"clip_id": clip}))["id"]
    aged(wired, LONG_AGO)
    assert wired.keeping.run_once() == 0
    with wired.database.write() as session:
        session.execute(update(Work).where(Work.id == analysis).values(status="cancelled"))
    assert wired.keeping.run_once() == 1


def test_an_organisation_sets_its_own_rule_but_not_its_limits(
    client: httpx.Client, as_key: Callable[..., dict[str, str]]
) -> None:
    admin = as_key(Scope.ADMIN, tenant="club")
    where = "/v1/organisations/club"
    read = client.get(where, headers=admin)
    assert read.json()["keeping_in_force"]["minors_films_days"] == 90
    match = admin | {"if-match": read.headers["etag"]}
    changed = client.patch(where, json={"keeping": {"minors_films_days": 14}}, headers=match)
    assert changed.json()["keeping_in_force"]["minors_films_days"] == 14
    refused = client.patch(where, json={"limits": {"films_per_month": 1}}, headers=match)
    assert_problem(refused, 403, "forbidden")
    stranger = as_key(*Scope, tenant="other")
    clip = sent(client, b"mine" * 50)
    assert_problem(client.get(f"/v1/keeping/{clip}", headers=stranger), 404, "not_found")
