"""The log of deliveries, sending again, secrets and addresses of endpoints."""

from __future__ import annotations

import threading
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime, timedelta

import httpx
import pytest
from sqlalchemy import select
from standardwebhooks import Webhook
from standardwebhooks.webhooks import WebhookVerificationError

from service.core import delivery_log
from service.core.delivery_log import MAX_BODY, REMOVED
from service.core.tables import SendTry, WebhookEndpoint
from service.core.wiring import Wiring
from tests.integration.api.conftest import assert_problem
from tests.integration.api.test_webhook_queue import happen, ids
from tests.integration.api.test_webhooks import (
    Receiver,
    independent_signature,
    receiver,
    register,
    settings,
)

__all__ = ["receiver", "settings"]


def log_of(endpoint: dict[str, str]) -> str:
    return f"/v1/webhook-endpoints/{endpoint['id']}/deliveries"


def test_the_log_shows_request_and_response_of_every_try(
    client: httpx.Client, wired: Wiring, receiver: Receiver
) -> None:
    endpoint = register(client, receiver.url)
    receiver.answers = [500]
    receiver.says = b"no room"
    (event_id,) = happen(wired, "ana_1")
    wired.sender().run_once()
    (item,) = client.get(log_of(endpoint)).json()["items"]
    assert (item["event_id"], item["state"], item["tries"]) == (event_id, "pending", 1)
    assert (item["type"], item["subject"]) == ("analysis.completed", "ana_1")
    assert item["last_status"] == 500
    tried = datetime.fromisoformat(item["last_tried_at"])
    following = datetime.fromisoformat(item["next_try_at"])
    assert timedelta(seconds=5) <= following - tried < timedelta(minutes=5)
    shown = client.get(item["links"]["self"]).json()
    assert shown["body"]["id"] == event_id
    (entry,) = shown["log"]
    assert entry["number"] == 1
    assert entry["request"]["url"] == receiver.url
    assert entry["request"]["headers"]["webhook-id"] == event_id
    assert entry["response"]["status"] == 500
    assert entry["response"]["body"] == "no room"
    assert entry["error"] is None


def test_the_log_holds_no_secret_and_is_bounded(
    client: httpx.Client, wired: Wiring, receiver: Receiver
) -> None:
    """The receiver answers with all it knows: its secret, the signature, an API key, a cookie."""
    endpoint = register(client, receiver.url)
    key = client.headers["authorization"].removeprefix("Bearer ")
    raw = endpoint["secret"].removeprefix("whsec_")
    receiver.answers = [200]
    receiver.says = f"{endpoint['secret']} {raw} {key} {{signature}} \x00".encode() + b"y" * 9000
    happen(wired, "ana_1")
    wired.sender().run_once()
    signature = receiver.got[0][0]["webhook-signature"]
    (item,) = client.get(log_of(endpoint)).json()["items"]
    text = client.get(item["links"]["self"]).text
    with wired.database.read() as session:
        kept = session.scalars(select(SendTry)).one()
        stored = repr({column.name: getattr(kept, column.name) for column in SendTry.__table__.c})
    for place in (text, stored):
        for secret in (endpoint["secret"], raw, key, signature, signature[3:], "let-me-in"):
            assert secret not in place
        assert REMOVED in place
    assert kept.response_body is not None
    assert len(kept.response_body) == MAX_BODY


def test_tries_are_forgotten_after_their_time(
    client: httpx.Client, wired: Wiring, receiver: Receiver
) -> None:
    register(client, receiver.url)
    happen(wired, "ana_1")
    wired.sender().run_once()
    with wired.database.write() as session:
        now = wired.database.now(session)
        delivery_log.forget_tries(session, now - timedelta(days=1))
        assert len(session.scalars(select(SendTry)).all()) == 1
        delivery_log.forget_tries(session, now + timedelta(days=1))
        assert session.scalars(select(SendTry)).all() == []


def test_the_log_is_read_by_pages_and_states(
    client: httpx.Client, wired: Wiring, receiver: Receiver
) -> None:
    endpoint = register(client, receiver.url)
    made = [happen(wired, f"ana_{number}")[0] for number in range(5)]
    receiver.answers = [500]
    assert wired.sender().run_once(1) == 1  # alone, so that it is the one that is refused
    wired.sender().run_once()
    seen: list[str] = []
    address: str | None = f"{log_of(endpoint)}?limit=2"
    while address:
        reply = client.get(address)
        seen += [item["event_id"] for item in reply.json()["items"]]
        address = reply.links.get("next", {}).get("url")
    assert seen == made[::-1]
    waiting = client.get(log_of(endpoint), params={"state": "pending"}).json()["items"]
    assert [item["event_id"] for item in waiting] == made[:1]
    assert client.get(log_of(endpoint), params={"state": "failed"}).json()["items"] == []
    assert_problem(client.get(f"{log_of(endpoint)}/evt_{'0' * 32}"), 404, "not_found")


def test_a_range_of_time_is_sent_again_under_the_same_ids(
    client: httpx.Client, wired: Wiring, receiver: Receiver
) -> None:
    endpoint = register(client, receiver.url)
    before = happen(wired, "ana_0")
    wanted = [*happen(wired, "ana_1", 3), *happen(wired, "ana_2", 2)]
    after = happen(wired, "ana_3")
    wired.sender().run_once()
    items = client.get(log_of(endpoint)).json()["items"]
    moment = {item["event_id"]: item["created_at"] for item in items}
    bodies = {headers["webhook-id"]: body for headers, body in receiver.got}
    receiver.got.clear()
    span = {"created_from": moment[wanted[0]], "created_before": moment[after[0]]}
    again = f"/v1/webhook-endpoints/{endpoint['id']}/replay"
    for _ in range(2):  # the same request, repeated: once
        reply = client.post(again, json=span, headers={"idempotency-key": "once"})
        assert (reply.status_code, reply.json()) == (202, {"events": 5})
    assert wired.sender().run_once() == 5
    assert sorted(ids(receiver)) == sorted(wanted)
    assert [one for one in ids(receiver) if one in wanted[:3]] == wanted[:3]
    assert {headers["webhook-id"]: body for headers, body in receiver.got} == {
        one: bodies[one] for one in wanted
    }
    for headers, body in receiver.got:
        Webhook(endpoint["secret"]).verify(body, headers)  # signed anew, so not too old
    assert before[0] not in ids(receiver)
    failed = client.post(again, json=span | {"states": ["failed"]})
    assert failed.json() == {"events": 0}


def test_one_event_is_sent_again(client: httpx.Client, wired: Wiring, receiver: Receiver) -> None:
    endpoint = register(client, receiver.url)
    (event_id,) = happen(wired, "ana_1")
    receiver.answers = [400]
    wired.sender().run_once()
    again = f"/v1/webhook-endpoints/{endpoint['id']}/replay"
    assert client.post(again, json={"event_id": event_id}).json() == {"events": 1}
    assert wired.sender().run_once() == 1  # at once, not after the wait of its last try
    assert ids(receiver) == [event_id, event_id]
    (item,) = client.get(log_of(endpoint)).json()["items"]
    assert item["state"] == "delivered"
    assert len(client.get(item["links"]["self"]).json()["log"]) == 2
    missing = client.post(again, json={"event_id": f"evt_{'0' * 32}"})
    assert_problem(missing, 404, "not_found")


def test_an_endpoint_that_came_later_gets_what_it_missed(
    client: httpx.Client, wired: Wiring, receiver: Receiver
) -> None:
    early = register(client, "https://hooks.example.org/early")
    client.post(f"/v1/webhook-endpoints/{early['id']}/test")
    (event_id,) = happen(wired, "ana_1")
    late = register(client, receiver.url, "analysis.completed")
    span = {"created_from": "2020-01-01T00:00:00Z"}
    reply = client.post(f"/v1/webhook-endpoints/{late['id']}/replay", json=span)
    assert reply.json() == {"events": 1}  # the test event was for another
    receiver_only = [wired.sender()._claim() for _ in range(3)]
    assert event_id in {one.event_id for one in receiver_only if one is not None}


@pytest.mark.parametrize(
    "body",
    [
        {},
        {"event_id": f"evt_{'0' * 32}", "created_from": "2026-01-01T00:00:00Z"},
        {"created_before": "2026-01-01T00:00:00Z"},
        {"created_from": "2026-02-01T00:00:00Z", "created_before": "2026-01-01T00:00:00Z"},
        {"event_id": f"evt_{'0' * 32}", "states": ["failed"]},
        {"created_from": "2026-01-01T00:00:00Z", "states": ["lost"]},
    ],
)
def test_what_to_send_again_must_be_said_plainly(
    client: httpx.Client, receiver: Receiver, body: dict[str, object]
) -> None:
    endpoint = register(client, receiver.url)
    reply = client.post(f"/v1/webhook-endpoints/{endpoint['id']}/replay", json=body)
    assert_problem(reply, 422, "invalid_request")


def test_too_many_events_are_refused_whole(
    client: httpx.Client, wired: Wiring, receiver: Receiver, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(delivery_log, "MAX_REPLAY", 2)
    endpoint = register(client, receiver.url)
    happen(wired, "ana_1", 3)
    wired.sender().run_once()
    span = {"created_from": "2020-01-01T00:00:00Z"}
    reply = client.post(f"/v1/webhook-endpoints/{endpoint['id']}/replay", json=span)
    assert "more than 2" in assert_problem(reply, 422, "invalid_request")["detail"]
    assert wired.sender().run_once() == 0


def test_two_secrets_are_valid_and_never_three(
    client: httpx.Client, wired: Wiring, receiver: Receiver
) -> None:
    """Standard Webhooks 1.0, key rotation: several signatures, parted by spaces."""
    endpoint = register(client, receiver.url)
    rotate = f"/v1/webhook-endpoints/{endpoint['id']}/rotate-secret"
    second = client.post(rotate, json={"overlap_hours": 2}).json()
    until = datetime.fromisoformat(second["previous_secret_until"])
    changed = datetime.fromisoformat(second["updated_at"])
    assert until - changed == timedelta(hours=2)
    refused = assert_problem(client.post(rotate), 409, "rotation_under_way")
    assert refused["parameters"]["endpoint"] == endpoint["id"]
    happen(wired, "ana_1")
    wired.sender().run_once()
    headers, body = receiver.got.pop()
    signatures = headers["webhook-signature"].split(" ")
    assert signatures == [
        independent_signature(one["secret"], headers, body) for one in (second, endpoint)
    ]
    third = client.post(rotate, json={"overlap_hours": 0}).json()  # a leak: both end at once
    assert third["previous_secret_until"] is None
    happen(wired, "ana_1")
    wired.sender().run_once()
    headers, body = receiver.got.pop()
    Webhook(third["secret"]).verify(body, headers)
    for ended in (endpoint, second):
        with pytest.raises(WebhookVerificationError):
            Webhook(ended["secret"]).verify(body, headers)


def test_an_overlap_ends(client: httpx.Client, wired: Wiring, receiver: Receiver) -> None:
    endpoint = register(client, receiver.url)
    rotate = f"/v1/webhook-endpoints/{endpoint['id']}/rotate-secret"
    client.post(rotate)
    with wired.database.write() as session:
        row = session.get_one(WebhookEndpoint, endpoint["id"])
        row.previous_secret_until = wired.database.now(session)
    happen(wired, "ana_1")
    wired.sender().run_once()
    assert len(receiver.got[0][0]["webhook-signature"].split()) == 1
    assert client.post(rotate).status_code == 200


@pytest.mark.parametrize(
    "again",
    [
        "https://hooks.example.org/a?b=c",
        "https://HOOKS.example.ORG/a?b=c",
        "https://hooks.example.org:443/a?b=c",
        "https://hooks.example.org./a?b=c",
        "https://hooks.example.org/a?b=c#part",
    ],
)
def test_an_address_is_registered_once(client: httpx.Client, again: str) -> None:
    first = register(client, "https://hooks.example.org/a?b=c")
    reply = client.post("/v1/webhook-endpoints", json={"url": again})
    problem = assert_problem(reply, 409, "endpoint_exists")
    assert problem["parameters"]["endpoint"] == first["id"]
    other = client.post("/v1/webhook-endpoints", json={"url": "https://hooks.example.org/a?b=d"})
    moved = client.patch(
        f"/v1/webhook-endpoints/{other.json()['id']}",
        json={"url": again},
        headers={"if-match": "*"},
    )
    assert_problem(moved, 409, "endpoint_exists")
    client.delete(f"/v1/webhook-endpoints/{first['id']}")
    assert client.post("/v1/webhook-endpoints", json={"url": again}).status_code == 201


def test_an_address_is_registered_once_by_many_at_the_same_moment(client: httpx.Client) -> None:
    gate = threading.Barrier(8)

    def one(_: int) -> int:
        gate.wait(30)
        body = {"url": "https://hooks.example.org/same"}
        return client.post("/v1/webhook-endpoints", json=body).status_code

    with ThreadPoolExecutor(8) as pool:
        assert sorted(pool.map(one, range(8))) == [201, *[409] * 7]
