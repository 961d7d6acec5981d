"""A database of the version before (two tables of work) is migrated, and then serves what it held.

The old rows are written in plain SQL of the old schema.
"""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import httpx
import pytest
from sqlalchemy import text

from models.contract.coaching import PlanRequest
from models.contract.resources import AnalysisRequest
from models.contract.vocabulary import WorkKind
from service.api.app import create_app
from service.core.database import migrate_url, revision_present, revision_wanted
from service.core.idempotency import fingerprint
from service.core.key_text import parse_key
from service.core.objects import LocalObjects
from service.core.queue import attempt_at
from service.core.settings import Settings
from service.core.wiring import Wiring
from tests.integration.api.conftest import TestClient
from tests.integration.api.old_database import (
    CLIP,
    DOCUMENTS,
    ENDPOINT,
    OPTIONS,
    PATHS,
    PLAYER,
    REQUESTS,
    SESSION,
    STATUSES,
    THEN,
    Old,
)
from tests.integration.api.test_webhooks import Receiver, receiver
from workers.jobs import entry

__all__ = ["receiver"]


@pytest.fixture
def old(empty_database_url: str, tmp_path: Path, receiver: Receiver) -> Iterator[Old]:
    """Return a database of the version before with work of every kind in every status."""
    migrate_url(empty_database_url, "0002")
    made = Old(empty_database_url, LocalObjects(tmp_path / "data" / "objects"))
    common = {"tenant_id": "main", "created_at": THEN}
    made.insert(
        "players", id=PLAYER, updated_at=THEN, external_id="member-1", handedness="left",
        sex="unknown", birth_year=1980, **common,
    )  # fmt: skip
    made.insert(
        "sessions", id=SESSION, player_id=PLAYER, updated_at=THEN, kind="baseline",
        filmed_at=THEN, **common,
    )  # fmt: skip
    made.objects.put_bytes(f"clips/{CLIP}/film", b"film", "video/mp4")
    made.insert(
        "clips", id=CLIP, api_key_id="k", state="ready", object_key=f"clips/{CLIP}/film",
        media_type="video/mp4", size_bytes=4, sha256=hashlib.sha256(b"film").hexdigest(),
        session_id=SESSION, **common,
    )  # fmt: skip
    made.insert(
        "webhook_endpoints", id=ENDPOINT, updated_at=THEN, url=receiver.url, event_types=[],
        enabled=True, secret="whsec_" + "eA==" * 8, **common,
    )  # fmt: skip
    for status in STATUSES:
        life = made.life("analysis", status, "ana", "analyses")
        made.insert("analyses", clip_id=CLIP, options=OPTIONS, **life)
    source = made.work["analysis", "completed"]
    for kind, prefix in DOCUMENTS.items():
        for status in STATUSES:
            life = made.life(kind, status, prefix, "documents")
            player = None if kind == "drill_check" else PLAYER
            made.insert("documents", kind=kind, player_id=player, request=REQUESTS[kind], **life)
            for position, side in enumerate(("first", "second")):
                made.insert(
                    "document_inputs",
                    document_id=life["id"],
                    position=position,
                    analysis_id=source,
                    side=side if kind == "comparison" else None,
                )
    for ended, delivery in (("completed", "pending"), ("failed", "delivered")):
        analysis = made.work["analysis", ended]
        made.event(f"analysis.{ended}", delivery, analysis_id=analysis, clip_id=CLIP)
        for kind in DOCUMENTS:
            made.event(f"{kind}.{ended}", delivery, document_id=made.work[kind, ended])
    made.event("retention.due", "failed", player_id=PLAYER)
    made.event("webhook.test", "pending")
    for route, body, kind in (
        ("POST /v1/analyses", AnalysisRequest(clip_id=CLIP), "analysis"),
        (f"POST {PATHS['plan']}", PlanRequest(), "plan"),
    ):
        made.insert(
            "idempotent_replies",
            api_key_id="k",
            route=route,
            key="once",
            fingerprint=fingerprint(body.model_dump(mode="json")),
            resource_id=made.work[kind, "queued"],
            status=201,
            created_at=datetime.now(UTC),
        )
    yield made
    made.engine.dispose()


@pytest.fixture
def settings(old: Old, tmp_path: Path, redis_server_url: str) -> Settings:
    """Return settings of a service on that database, migrated."""
    migrate_url(old.url)
    return Settings(
        data_dir=tmp_path / "data",
        database_url=old.url,
        redis_url=redis_server_url,
        queue_name=f"test-{secrets.token_hex(6)}",
        background=False,
        webhook_private_networks=("127.0.0.0/8",),
        webhook_timeout_s=1.0,
    )


@pytest.fixture
def service(settings: Settings, old: Old) -> Iterator[tuple[httpx.Client, Wiring]]:
    """Return the API on it, with the key under which the old replies were made."""
    app = create_app(settings)
    wired: Wiring = app.state.wiring
    with TestClient(app, raise_server_exceptions=False) as client:
        key = wired.keys.add("test")
        parsed = parse_key(key)
        assert parsed is not None
        with old.engine.begin() as connection:
            named = {"id": parsed[0]}
            connection.execute(text("UPDATE idempotent_replies SET api_key_id = :id"), named)
        client.headers["authorization"] = f"Bearer {key}"
        yield client, wired
    wired.close()


def test_nothing_is_lost(old: Old) -> None:
    tables = ("outbox_events", "deliveries", "idempotent_replies", "clips", "sessions")
    before = {table: old.rows(table) for table in tables}
    work = old.rows("analyses") + old.rows("documents")
    inputs = old.rows("document_inputs")
    migrate_url(old.url)
    assert {table: old.rows(table) for table in tables} == before
    assert old.rows("work") == work == 25
    assert old.rows("work_inputs") == inputs == 40
    with old.engine.connect() as connection:
        found = connection.execute(text("SELECT id, work_id, body FROM outbox_events")).all()
        if old.engine.dialect.name == "sqlite":
            assert connection.execute(text("PRAGMA foreign_key_check")).all() == []
        assert connection.execute(text("SELECT id, limits FROM organisations")).all() in (
            [("main", "{}")],
            [("main", {})],
        )
        for table in (*tables, "work", "work_inputs", "players", "webhook_endpoints"):
            owners = connection.execute(text(f"SELECT DISTINCT tenant_id FROM {table}"))
            assert owners.scalars().all() == ["main"], table
    assert {row.id: (row.work_id, row.body) for row in found} == {
        event_id: (work_id, body) for event_id, (work_id, _, body) in old.events.items()
    }


def test_every_resource_is_served(old: Old, service: tuple[httpx.Client, Wiring]) -> None:
    client, wired = service
    assert revision_present(wired.database) == revision_wanted()
    source = old.work["analysis", "completed"]
    for (kind, status), work_id in old.work.items():
        address = f"{PATHS[kind]}/{work_id}"
        body = client.get(address).json()
        assert (body["id"], body["status"]) == (work_id, status)
        assert client.head(address).status_code == 200
        assert body["attempt"] == 2
        assert body["external_ref"] == f"{kind}-{status}"
        assert (body["problem"] is not None) == (status == "failed")
        assert ("cancel" in body["links"]) == (status in ("queued", "running"))
        if kind == "analysis":
            assert body["clip_id"] == CLIP
            assert {name: body["options"][name] for name in OPTIONS} == OPTIONS
        else:
            assert body["kind"] == kind
            assert body["analyses"] == [source, source]
            assert body["player_id"] == (None if kind == "drill_check" else PLAYER)
        for name in ("result", "report.html") if status == "completed" else ():
            if (kind, name) == ("drill_check", "report.html"):
                continue
            assert body["links"][name] == f"{address}/{name}"
            assert client.get(f"{address}/{name}").content == old.contents[work_id, name]


def test_lists_hold_the_old_rows(old: Old, service: tuple[httpx.Client, Wiring]) -> None:
    client, _ = service
    for kind, path in PATHS.items():
        ids = [item["id"] for item in client.get(path).json()["items"]]
        assert ids == [old.work[kind, status] for status in reversed(STATUSES)]
        for status in STATUSES:
            items = client.get(path, params={"status": status}).json()["items"]
            assert [item["id"] for item in items] == [old.work[kind, status]]


def test_pending_events_are_delivered_as_they_were_written(
    old: Old, service: tuple[httpx.Client, Wiring], receiver: Receiver
) -> None:
    _, wired = service
    waiting = {name: body for name, (_, state, body) in old.events.items() if state == "pending"}
    assert wired.sender().run_once() == len(waiting) == 6
    got = {headers["webhook-id"]: body.decode() for headers, body in receiver.got}
    assert got == waiting


def test_unfinished_work_goes_on(old: Old, service: tuple[httpx.Client, Wiring]) -> None:
    client, wired = service
    report = wired.reconciler().run_once()
    assert (report.enqueued_again, report.requeued) == (5, 5)
    for kind in WorkKind:
        for status, attempt in (("queued", 2), ("running", 3)):
            work_id = old.work[kind.value, status]
            assert wired.queue.is_known(work_id, attempt)
            claim = wired.work.claim(kind, work_id, attempt, "w")
            if kind is WorkKind.ANALYSIS:
                assert claim.request == {"options": OPTIONS}
                assert claim.film is not None
                assert claim.film.key == f"clips/{CLIP}/film"
                assert claim.inputs == ()
            else:
                assert claim.request == REQUESTS[kind.value]
                sides = ["first", "second"] if kind is WorkKind.COMPARISON else [None, None]
                assert [one.side for one in claim.inputs] == sides
                files = claim.inputs[0].artifacts
                assert wired.objects.stat(files["result"].key).size_bytes > 0
                assert claim.inputs[0].session_id == SESSION
            wired.work.complete(work_id, attempt, {})
            body = client.get(f"{PATHS[kind.value]}/{work_id}").json()
            assert body["status"] == "completed"


def test_new_documents_are_made_from_old_results(
    old: Old, service: tuple[httpx.Client, Wiring]
) -> None:
    client, wired = service
    source = {"analyses": [old.work["analysis", "completed"]]}
    check = {"finding": "weight_not_on_rear_foot", "drill": "hold_loaded"}
    for kind, body in (("plan", source), ("drill_check", source | check)):
        asked = client.post(PATHS[kind], json=body).json()
        entry.work(wired, attempt_at(asked["id"], 1))
        made = client.get(asked["links"]["self"]).json()
        assert made["status"] == "completed", made["problem"]
        assert client.get(made["links"]["result"]).status_code == 200


def test_replies_are_replayed(old: Old, service: tuple[httpx.Client, Wiring]) -> None:
    client, _ = service
    headers = {"idempotency-key": "once"}
    for kind, body in (("analysis", {"clip_id": CLIP}), ("plan", {})):
        reply = client.post(PATHS[kind], json=body, headers=headers)
        assert reply.status_code == 201, reply.text
        assert reply.headers["idempotency-replayed"] == "true"
        assert reply.json()["id"] == old.work[kind, "queued"]


def test_erasure_reaches_what_was_migrated(old: Old, service: tuple[httpx.Client, Wiring]) -> None:
    client, wired = service
    source = old.work["analysis", "completed"]
    assert client.delete(f"/v1/analyses/{source}").status_code == 202
    assert old.rows("work") == 4  # the other analyses
    assert old.rows("work_inputs") == 0
    left = {info.key for info in wired.objects.list()}
    assert left == {f"clips/{CLIP}/film"}
    assert client.delete(f"/v1/players/{PLAYER}").status_code == 202
    assert old.rows("work") == 0
    assert old.rows("outbox_events") == 1  # the test event belongs to nobody
