"""Organisations: made, limited, counted."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import httpx
import pytest
from redis.exceptions import ConnectionError as RedisAway

from models.contract.errors import ClipDamaged
from models.contract.vocabulary import WorkKind
from service.api.app import create_app
from service.core.principal import Scope
from service.core.settings import Settings
from service.core.wiring import Wiring
from tests.integration.api.coaching import made, new_clip
from tests.integration.api.conftest import TestClient, assert_problem, complete, film


def headers_of(key: str) -> dict[str, str]:
    return {"authorization": f"Bearer {key}"}


def test_an_organisation_is_made_with_its_admin(client: httpx.Client) -> None:
    reply = client.post("/v1/organisations", json={"name": "Club two"})
    shown = made(reply)
    theirs = headers_of(shown["key"])
    assert reply.headers["location"] == shown["links"]["self"]
    listed = client.get("/v1/organisations").json()["items"]
    assert [one["name"] for one in listed] == ["Club two", "main"]
    assert "key" not in listed[0]
    mine = client.get("/v1/organisations", headers=theirs).json()["items"]
    assert [one["id"] for one in mine] == [shown["id"]]
    assert_problem(client.get("/v1/organisations/main/usage", headers=theirs), 404, "not_found")
    # It administers itself, and no other.
    made(client.post("/v1/api-keys", json={"name": "k", "scopes": ["admin"]}, headers=theirs))
    assert_problem(
        client.post("/v1/organisations", json={"name": "three"}, headers=theirs), 403, "forbidden"
    )
    tag = {"if-match": "*"}
    raised = {"limits": {"films_per_month": 0}}
    own = shown["links"]["self"]
    assert_problem(client.patch(own, json=raised, headers=theirs | tag), 403, "forbidden")
    assert len(client.get("/v1/api-keys").json()["items"]) == 2  # those of the first alone


def test_limits_are_changed_with_the_state_that_was_read(client: httpx.Client) -> None:
    here = made(client.post("/v1/organisations", json={"name": "two"}))["links"]["self"]
    read = client.get(here)
    assert_problem(client.patch(here, json={"name": "x"}), 428, "precondition_required")
    tag = {"if-match": read.headers["etag"]}
    changed = client.patch(here, json={"limits": {"waiting_work": 3}}, headers=tag)
    assert made(changed, 200)["limits_in_force"]["waiting_work"] == 3
    assert changed.json()["limits_in_force"]["films_per_month"] == 0  # as the settings say
    assert_problem(client.patch(here, json={"name": "x"}, headers=tag), 412, "precondition_failed")
    refused = client.patch(here, json={"limits": {"waiting_work": -1}}, headers={"if-match": "*"})
    assert_problem(refused, 422, "invalid_request")


def limited(client: httpx.Client, **limits: int) -> dict[str, str]:
    """Return the key of an organisation with these limits."""
    body = {"name": "limited", "limits": limits}
    return headers_of(made(client.post("/v1/organisations", json=body))["key"])


def sent(client: httpx.Client, headers: dict[str, str], content: bytes) -> httpx.Response:
    files = {"file": ("a.mp4", film(content), "video/mp4")}
    return client.post("/v1/clips", files=files, headers=headers)


def test_films_a_month(client: httpx.Client, wired: Wiring) -> None:
    theirs = limited(client, films_per_month=2)
    for number in (b"1", b"2"):
        made(sent(client, theirs, number))
    assert sent(client, theirs, b"2").status_code == 200  # was there: no new film
    refused = assert_problem(sent(client, theirs, b"3"), 403, "quota_exceeded")
    assert "2 films a month" in refused["detail"]
    assert "ask the operator" in refused["detail"]
    new_clip(client, None, b"3")  # others are not concerned
    assert len(list(wired.objects.list("tenants"))) == 2  # the refused film is not kept


def test_stored_bytes(client: httpx.Client) -> None:
    size = len(film(b"1" * 1000))
    theirs = limited(client, stored_bytes=2 * size)
    first = made(sent(client, theirs, b"1" * 1000))["links"]["self"]
    made(sent(client, theirs, b"2" * 1000))
    assert_problem(sent(client, theirs, b"3" * 1000), 403, "quota_exceeded")
    assert client.delete(first, headers=theirs).status_code == 202  # as the message says
    made(sent(client, theirs, b"3" * 1000))


def test_waiting_work(client: httpx.Client, wired: Wiring) -> None:
    theirs = limited(client, waiting_work=1)
    clip = {"clip_id": made(sent(client, theirs, b"1"))["id"]}
    first = made(client.post("/v1/analyses", json=clip, headers=theirs))["id"]
    refused = client.post("/v1/analyses", json=clip, headers=theirs)
    assert_problem(refused, 403, "quota_exceeded")
    complete(wired, first)
    made(client.post("/v1/analyses", json=clip, headers=theirs))


def test_processor_time_a_month_and_what_was_used(client: httpx.Client, wired: Wiring) -> None:
    theirs = limited(client, processor_s_per_month=10)
    clip = {"clip_id": made(sent(client, theirs, b"1" * 1000))["id"]}
    here = client.get("/v1/organisations", headers=theirs).json()["items"][0]["links"]["usage"]
    assert client.get(here, headers=theirs).json()["months"][0]["processor_s"] == 0
    for spent in (4.0, 6.5):
        work = made(client.post("/v1/analyses", json=clip, headers=theirs))["id"]
        claim = wired.work.claim(WorkKind.ANALYSIS, work, 1, "w")
        if spent == 4.0:
            wired.work.fail(work, claim.attempt, ClipDamaged(), processor_s=spent)
        else:
            wired.work.complete(work, claim.attempt, {}, processor_s=spent)
    refused = client.post("/v1/analyses", json=clip, headers=theirs)
    assert_problem(refused, 403, "quota_exceeded")
    (month,) = client.get(here, headers=theirs).json()["months"]
    assert (month["films"], month["bytes"]) == (1, len(film(b"1" * 1000)))
    assert (month["analyses"], month["processor_s"]) == (1, 10.5)
    assert client.get(here, headers=theirs, params={"first": "2999-01"}).json()["months"] == []
    assert client.get("/v1/organisations/main/usage").json()["months"] == []


def test_minutes_of_film_are_counted(client: httpx.Client, wired: Wiring, clip_id: str) -> None:
    for _ in range(2):
        complete(wired, made(client.post("/v1/analyses", json={"clip_id": clip_id}))["id"])
    (month,) = client.get("/v1/organisations/main/usage").json()["months"]
    assert month["film_minutes"] == pytest.approx(2 * 3.6 / 60)  # the film is 3.6 s long
    assert (month["films"], month["analyses"]) == (1, 2)


def test_requests_a_minute_by_organisation(client: httpx.Client, wired: Wiring) -> None:
    theirs = limited(client, requests_per_minute=5)
    answers = [client.get("/v1/clips", headers=theirs) for _ in range(11)]
    # A minute may end in between: then five more pass.
    assert sum(reply.status_code == 200 for reply in answers) in (5, 10)
    refused = next(reply for reply in answers if reply.status_code == 429)
    body = assert_problem(refused, 429, "rate_limited")
    wait = int(refused.headers["retry-after"])
    assert 1 <= wait <= 60
    assert f"Wait {wait} seconds" in body["detail"]
    assert client.get("/v1/clips").status_code == 200  # others are not concerned


def test_requests_are_served_uncounted_while_redis_is_away(
    client: httpx.Client, wired: Wiring, monkeypatch: pytest.MonkeyPatch
) -> None:
    theirs = limited(client, requests_per_minute=1)

    def away(*_: object, **__: object) -> None:
        raise RedisAway()

    monkeypatch.setattr(type(wired.queue.connection), "pipeline", away)
    assert [client.get("/v1/clips", headers=theirs).status_code for _ in range(3)] == [200] * 3


@pytest.fixture
def strict(settings: Settings) -> Iterator[httpx.Client]:
    """Return an API whose settings limit every organisation."""
    app = create_app(settings.model_copy(update={"limit_films_per_month": 1}))
    with TestClient(app, raise_server_exceptions=False) as client:
        client.headers["authorization"] = f"Bearer {app.state.wiring.keys.add('k')}"
        yield client
    app.state.wiring.close()


def test_settings_limit_every_organisation_unless_it_has_its_own(strict: httpx.Client) -> None:
    new_clip(strict, None, b"1")
    assert_problem(sent(strict, {}, b"2"), 403, "quota_exceeded")
    theirs = limited(strict, films_per_month=0)
    for number in (b"1", b"2"):
        made(sent(strict, theirs, number))


def test_keys_are_rotated_with_an_overlap(
    client: httpx.Client, as_key: Callable[..., dict[str, str]]
) -> None:
    former = as_key(Scope.CLIPS_READ)
    key_id = former["authorization"].split("_")[1]
    reply = client.post(f"/v1/api-keys/{key_id}/rotate", json={"overlap_hours": 1})
    shown = made(reply, 200)
    assert shown["id"] == key_id
    assert shown["previous_until"] is not None
    assert "location" not in reply.headers
    for headers in (former, headers_of(shown["key"])):
        assert client.get("/v1/clips", headers=headers).status_code == 200
    made(client.post(f"/v1/api-keys/{key_id}/rotate", json={"overlap_hours": 0}), 200)
    for headers in (former, headers_of(shown["key"])):
        assert client.get("/v1/clips", headers=headers).status_code == 401
    read = client.get(f"/v1/api-keys/{key_id}").json()
    assert read["last_used_at"] is not None


def test_the_last_admin_key_stays(client: httpx.Client) -> None:
    ids = [one["id"] for one in client.get("/v1/api-keys").json()["items"]]
    # The first key of the installation, and the one that the tests use.
    assert len(ids) == 2
    assert client.delete(f"/v1/api-keys/{ids[0]}").status_code == 204
    body = assert_problem(client.delete(f"/v1/api-keys/{ids[1]}"), 409, "last_admin_key")
    assert "Make another one first" in body["detail"]
