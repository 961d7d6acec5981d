"""A database of the version before (two tables of work) is migrated, and then serves what it held.

The old rows are written in plain SQL of the old schema.
"""

from __future__ import annotations

import hashlib
import json
import secrets
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import httpx
import pytest
from sqlalchemy import create_engine, text

from models.contract.coaching import PlanRequest
from models.contract.errors import ClipDamaged
from models.contract.problem import Problem
from models.contract.resources import AnalysisRequest
from models.contract.vocabulary import AnalysisStatus, WorkKind
from service.api.app import create_app
from service.core.database import migrate_url, revision_present, revision_wanted
from service.core.idempotency import fingerprint
from service.core.key_text import parse_key
from service.core.objects import LocalObjects
from service.core.queue import attempt_at
from service.core.settings import Settings
from service.core.wiring import Wiring
from tests.integration.api.conftest import TestClient
from tests.integration.api.test_webhooks import Receiver, receiver
from workers.jobs import entry

__all__ = ["receiver"]

RESULT = Path(__file__).parents[2] / "data" / "version_1" / "result.json"
PLAYER = f"ply_{1:032x}"
SESSION = f"ses_{2:032x}"
CLIP = f"clip_{3:032x}"
ENDPOINT = f"whe_{4:032x}"
STATUSES = [one.value for one in AnalysisStatus]
DOCUMENTS = {"comparison": "cmp", "progress": "prg", "plan": "pln", "drill_check": "drl"}
PATHS = {
    "analysis": "/v1/analyses",
    "comparison": "/v1/comparisons",
    "progress": f"/v1/players/{PLAYER}/progress",
    "plan": f"/v1/players/{PLAYER}/plans",
    "drill_check": "/v1/drill-checks",
}
REQUESTS: dict[str, dict[str, Any]] = {
    "comparison": {"labels": {"first": "May", "second": "June"}, "kind": "serve", "film": False},
    "progress": {"kind": "serve"},
    "plan": {"rules_id": None, "rules": None, "done": []},
    "drill_check": {"rules": None, "finding": "f", "drill": "d", "plan_id": None},
}
OPTIONS = {"height_m": 1.83, "handedness": "left", "view": "side"}
THEN = datetime(2026, 5, 4, 10, tzinfo=UTC)


@dataclass
class Old:
    """A database of the version before, and what was put into it."""

    url: str
    objects: LocalObjects
    work: dict[tuple[str, str], str] = field(default_factory=dict)
    contents: dict[tuple[str, str], bytes] = field(default_factory=dict)
    events: dict[str, tuple[str | None, str, str]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.engine = create_engine(self.url)
        self.count = 100

    def stamp(self, moment: datetime) -> str:
        zone = "" if self.engine.dialect.name == "sqlite" else "+00"
        return f"{moment:%Y-%m-%d %H:%M:%S.%f}{zone}"

    def insert(self, table: str, **values: Any) -> None:
        shown = {
            name: json.dumps(value)
            if isinstance(value, dict | list)
            else self.stamp(value)
            if isinstance(value, datetime)
            else value
            for name, value in values.items()
        }
        names = ", ".join(shown)
        places = ", ".join(f":{name}" for name in shown)
        with self.engine.begin() as connection:
            connection.execute(text(f"INSERT INTO {table} ({names}) VALUES ({places})"), shown)

    def number(self) -> int:
        self.count += 1
        return self.count

    def life(self, kind: str, status: str, prefix: str, folder: str) -> dict[str, Any]:
        """Return the columns that analyses and documents had in common."""
        number = self.number()
        work_id = f"{prefix}_{number:032x}"
        self.work[kind, status] = work_id
        begun = status != "queued"
        ended = status in ("completed", "failed", "cancelled")
        artifacts: dict[str, Any] = {}
        if status == "completed":
            for name in ("result", "report.html"):
                data = f"{name} of {work_id}".encode()
                if (kind, name) == ("analysis", "result"):
                    data = RESULT.read_bytes()
                key = f"{folder}/{work_id}/2/{name}"
                media = "text/html" if name.endswith("html") else "application/json"
                self.objects.put_bytes(key, data, media)
                digest = hashlib.sha256(data).hexdigest()
                artifacts[name] = {
                    "key": key,
                    "sha256": digest,
                    "size_bytes": len(data),
                    "media_type": media,
                }
                self.contents[work_id, name] = data
        problem = Problem.of(ClipDamaged(), instance=f"{PATHS[kind]}/{work_id}")
        return {
            "id": work_id,
            "tenant_id": "main",
            "created_at": THEN + timedelta(minutes=number),
            "status": status,
            "stage": "pose" if begun else None,
            "progress": 1.0 if status == "completed" else 0.25 if begun else 0.0,
            "attempt": 2,
            "crashes": 1,
            "lease_until": THEN if status == "running" else None,
            "lease_holder": "host:1" if status == "running" else None,
            "queued_at": THEN,
            "started_at": THEN if begun else None,
            "finished_at": THEN + timedelta(hours=1) if ended else None,
            "external_ref": f"{kind}-{status}",
            "artifacts": artifacts,
            "headline": {"serves": 3} if status == "completed" else {},
            "problem": problem.model_dump(mode="json") if status == "failed" else None,
        }

    def event(self, kind: str, delivery: str, **of: str | None) -> None:
        """Write an event and its delivery."""
        event_id = f"evt_{self.number():032x}"
        body = json.dumps({"id": event_id, "type": kind})
        subject = of.get("analysis_id") or of.get("document_id")
        self.events[event_id] = (subject, delivery, body)
        self.insert(
            "outbox_events",
            id=event_id,
            tenant_id="main",
            created_at=THEN,
            type=kind,
            body=body,
            **of,
        )
        self.insert(
            "deliveries",
            event_id=event_id,
            endpoint_id=ENDPOINT,
            state=delivery,
            tries=0 if delivery == "pending" else 3,
            due_at=THEN,
        )

    def rows(self, table: str) -> int:
        with self.engine.connect() as connection:
            return int(connection.execute(text(f"SELECT count(*) FROM {table}")).scalar_one())


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
    assert client.delete(f"/v1/analyses/{source}").status_code == 204
    assert old.rows("work") == 4  # the other analyses
    assert old.rows("work_inputs") == 0
    left = {info.key for info in wired.objects.list()}
    assert left == {f"clips/{CLIP}/film"}
    assert client.delete(f"/v1/players/{PLAYER}").status_code == 204
    assert old.rows("work") == 0
    assert old.rows("outbox_events") == 1  # the test event belongs to nobody
