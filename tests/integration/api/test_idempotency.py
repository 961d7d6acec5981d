"""The Idempotency-Key (IETF httpapi draft 07): one effect a key, whatever happens."""

from __future__ import annotations

import threading
from datetime import timedelta

import httpx
import pytest
from sqlalchemy import func, select, update

from service.core.idempotency import fingerprint
from service.core.tables import IdempotentReply, Work
from service.core.wiring import Wiring
from tests.integration.api.conftest import assert_problem


def count(wired: Wiring) -> int:
    with wired.database.read() as session:
        return session.execute(select(func.count()).select_from(Work)).scalar_one()


def test_repeat_gives_the_same_analysis(client: httpx.Client, wired: Wiring, clip_id: str) -> None:
    headers = {"idempotency-key": "k-1"}
    first = client.post("/v1/analyses", json={"clip_id": clip_id}, headers=headers)
    again = client.post("/v1/analyses", json={"clip_id": clip_id, "options": {}}, headers=headers)
    quoted = client.post(
        "/v1/analyses", json={"clip_id": clip_id}, headers={"idempotency-key": '"k-1"'}
    )
    assert first.status_code == again.status_code == quoted.status_code == 201
    assert first.json() == again.json() == quoted.json()
    assert "idempotency-replayed" not in first.headers
    assert again.headers["idempotency-replayed"] == "true"
    assert again.headers["location"] == first.headers["location"]
    assert count(wired) == 1
    assert len(wired.queue) == 1


def test_same_key_with_another_body(client: httpx.Client, wired: Wiring, clip_id: str) -> None:
    headers = {"idempotency-key": "k-1"}
    client.post("/v1/analyses", json={"clip_id": clip_id}, headers=headers)
    other = {"clip_id": clip_id, "options": {"height_m": 1.9}}
    assert_problem(
        client.post("/v1/analyses", json=other, headers=headers), 422, "idempotency_conflict"
    )
    assert count(wired) == 1


def test_hidden_faces_are_another_body_shown_ones_are_not() -> None:
    before = {"clip_id": "c", "options": {"height_m": None}}
    shown, hidden = ({"clip_id": "c", "options": {"height_m": None, "faces": faces}}
                     for faces in ("shown", "hidden"))  # fmt: skip
    assert fingerprint(shown) == fingerprint(before)
    assert fingerprint(hidden) != fingerprint(before)
    assert fingerprint({"analyse": shown["options"]}) == fingerprint({"analyse": before["options"]})
    assert fingerprint({"faces": "shown"}) != fingerprint({})
    assert fingerprint(before | {"role": "player"}) == fingerprint(before)
    assert fingerprint(before | {"role": "model"}) != fingerprint(before)
    side = {"label": "a", "analyses": ["b"]}
    assert fingerprint({"first": side | {"model": None}}) == fingerprint({"first": side})


def test_keys_of_callers_and_routes_do_not_meet(
    client: httpx.Client, wired: Wiring, clip_id: str
) -> None:
    headers = {"idempotency-key": "k-1"}
    first = client.post("/v1/analyses", json={"clip_id": clip_id}, headers=headers)
    hook = {"url": "https://hooks.example.org/a"}
    assert client.post("/v1/webhook-endpoints", json=hook, headers=headers).status_code == 201
    headers["authorization"] = f"Bearer {wired.keys.add('another')}"
    other = client.post("/v1/analyses", json={"clip_id": clip_id}, headers=headers)
    assert other.json()["id"] != first.json()["id"]


def test_errors_do_not_use_a_key_up(client: httpx.Client, clip_id: str) -> None:
    headers = {"idempotency-key": "k-1"}
    unknown = {"clip_id": "clip_" + "0" * 32}
    assert_problem(client.post("/v1/analyses", json=unknown, headers=headers), 404, "not_found")
    good = client.post("/v1/analyses", json={"clip_id": clip_id}, headers=headers)
    assert good.status_code == 201


@pytest.mark.parametrize("key", ["", " ", '"', 'a"b', "x" * 256, "two words"])
def test_keys_that_cannot_be_one(client: httpx.Client, clip_id: str, key: str) -> None:
    reply = client.post("/v1/analyses", json={"clip_id": clip_id}, headers={"idempotency-key": key})
    assert_problem(reply, 400, "malformed_request")


def test_parallel_repeats_make_one(client: httpx.Client, wired: Wiring, clip_id: str) -> None:
    replies: list[httpx.Response] = []

    def send() -> None:
        replies.append(
            client.post("/v1/analyses", json={"clip_id": clip_id}, headers={"idempotency-key": "k"})
        )

    threads = [threading.Thread(target=send) for _ in range(24)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert {reply.status_code for reply in replies} == {201}
    assert len({reply.json()["id"] for reply in replies}) == 1
    assert sum("idempotency-replayed" not in reply.headers for reply in replies) == 1
    assert count(wired) == 1


def test_key_may_be_used_anew_after_its_time(
    client: httpx.Client, wired: Wiring, clip_id: str
) -> None:
    headers = {"idempotency-key": "k"}
    first = client.post("/v1/analyses", json={"clip_id": clip_id}, headers=headers)
    with wired.database.write() as session:
        yesterday = wired.database.now(session) - timedelta(hours=24, seconds=1)
        session.execute(update(IdempotentReply).values(created_at=yesterday))
    second = client.post("/v1/analyses", json={"clip_id": clip_id}, headers=headers)
    assert second.json()["id"] != first.json()["id"]
    with wired.database.write() as session:
        session.execute(update(IdempotentReply).values(created_at=yesterday))
    wired.reconciler().run_once()
    with wired.database.read() as session:
        assert session.scalars(select(IdempotentReply)).all() == []


def test_endpoint_secret_is_replayed_to_the_same_caller(client: httpx.Client) -> None:
    body, headers = {"url": "https://hooks.example.org/a"}, {"idempotency-key": "k"}
    first = client.post("/v1/webhook-endpoints", json=body, headers=headers)
    again = client.post("/v1/webhook-endpoints", json=body, headers=headers)
    assert first.json() == again.json()


def test_what_was_removed_is_made_anew(client: httpx.Client) -> None:
    """A repeat tells of what is there, not of what is gone."""
    headers = {"idempotency-key": "once"}
    yaml = headers | {"content-type": "application/yaml"}
    for send in (
        lambda: client.post("/v1/practice-rules", content="name: mine\n", headers=yaml),
        lambda: client.post(
            "/v1/webhook-endpoints", json={"url": "https://a.example.org/"}, headers=headers
        ),
        lambda: client.post("/v1/players", json={"external_id": "a"}, headers=headers),
    ):
        first = send()
        assert send().json()["id"] == first.json()["id"]
        assert client.delete(first.json()["links"]["self"]).is_success
        again = send()
        assert again.status_code == 201
        assert again.json()["id"] != first.json()["id"]
