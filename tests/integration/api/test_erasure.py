"""Erasing a clip: afterwards nothing anywhere holds a trace of it."""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import httpx
import pytest
from sqlalchemy import func, select, text

from models.contract.errors import Erased, ObjectStoreUnavailable
from models.contract.vocabulary import WorkKind
from service.core.account_tables import AuditEntry
from service.core.principal import Scope
from service.core.settings import Settings
from service.core.tables import Base, Erasure, ErasureReceipt, OutboxEvent
from service.core.wiring import Wiring
from tests.integration.api.conftest import assert_problem, complete, files_below, film

CANARY = "canary-7f3a9c"
IDS_ALONE = {table.__tablename__ for table in (Erasure, ErasureReceipt, AuditEntry)}


def send(client: httpx.Client) -> tuple[str, str]:
    clip = client.post(
        "/v1/clips",
        files={"file": (f"{CANARY}.mp4", film(CANARY.encode() * 50), "video/mp4")},
        data={"external_ref": CANARY},
    ).json()
    analysis = client.post(
        "/v1/analyses",
        json={"clip_id": clip["id"], "external_ref": CANARY},
        headers={"idempotency-key": "k"},
    ).json()
    return clip["id"], analysis["id"]


def traces(wired: Wiring, settings: Settings, words: list[str]) -> list[str]:
    """Return where any of the words is still to be found."""
    found = []
    for path in files_below(settings.object_dir):
        for word in words:
            if word in str(path) or word.encode() in path.read_bytes():
                found.append(str(path))
    with wired.database.read() as session:
        for table in Base.metadata.sorted_tables:
            # Object prefixes until no job can still write; ids as proof of erasure, and of who
            # read what: no word that anybody wrote.
            looked = words[:1] if table.name in IDS_ALONE else words
            for row in session.execute(select(table)):
                found += [table.name for word in looked if word in repr(tuple(row))]
    if wired.database.is_sqlite:
        for path in Path(settings.database_address.removeprefix("sqlite:///")).parent.glob("*.db*"):
            found += [str(path) for word in words[:1] if word.encode() in path.read_bytes()]
    connection = wired.queue.connection
    for key in connection.scan_iter("rq:*"):
        found += [str(key) for word in words if word.encode() in key]
        if connection.type(key) == b"hash":
            value = repr(connection.hgetall(key))
            found += [str(key) for word in words if word in value]
    return found


def test_nothing_is_left_of_an_erased_clip(
    client: httpx.Client, wired: Wiring, settings: Settings
) -> None:
    client.post("/v1/webhook-endpoints", json={"url": "https://hooks.example.org/a"})
    clip_id, analysis_id = send(client)
    complete(wired, analysis_id)
    second = client.post("/v1/analyses", json={"clip_id": clip_id}).json()["id"]  # stays queued
    with wired.database.read() as session:
        event_id = session.execute(select(OutboxEvent.id)).scalar_one()
    words = [CANARY, clip_id, analysis_id, second, event_id]
    before = traces(wired, settings, words)
    assert {"clips", "work", "outbox_events", "deliveries", "idempotent_replies"} <= set(before)

    assert client.delete(f"/v1/clips/{clip_id}").status_code == 202
    assert traces(wired, settings, words) == []
    for address in (
        f"/v1/clips/{clip_id}",
        f"/v1/clips/{clip_id}/content",
        f"/v1/analyses/{analysis_id}",
        f"/v1/analyses/{analysis_id}/result",
    ):
        assert_problem(client.get(address), 404, "not_found")
    assert_problem(client.delete(f"/v1/clips/{clip_id}"), 404, "not_found")
    assert len(wired.queue) == 0


def test_other_clips_stay(client: httpx.Client, wired: Wiring, clip_id: str) -> None:
    other, analysis_id = send(client)
    complete(wired, analysis_id)
    assert client.delete(f"/v1/clips/{clip_id}").status_code == 202
    assert client.get(f"/v1/analyses/{analysis_id}/result").status_code == 200
    assert client.get(f"/v1/clips/{other}/content").status_code == 200


def test_running_job_cannot_bring_it_back(
    client: httpx.Client, wired: Wiring, settings: Settings
) -> None:
    clip_id, analysis_id = send(client)
    claim = wired.work.claim(WorkKind.ANALYSIS, analysis_id, 1, "w")
    assert client.delete(f"/v1/clips/{clip_id}").status_code == 202
    wired.objects.put_bytes(f"{claim.result_prefix}/late.json", CANARY.encode(), "text/plain")
    with pytest.raises(Erased):
        wired.work.heartbeat(analysis_id, 1)
    with pytest.raises(Erased):
        wired.work.complete(analysis_id, 1, {})
    wired.reconciler().run_once()
    assert traces(wired, settings, [CANARY]) == []


def test_absent_store_is_swept_later(
    client: httpx.Client, wired: Wiring, settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    clip_id, _ = send(client)

    def away(*args: object) -> None:
        raise ObjectStoreUnavailable()

    with monkeypatch.context() as patch:
        patch.setattr(type(wired.objects), "delete_prefix", away)
        answer = client.delete(f"/v1/clips/{clip_id}")
    assert answer.status_code == 202
    assert_problem(client.get(f"/v1/clips/{clip_id}"), 404, "not_found")
    receipt = client.get(answer.headers["location"]).json()
    assert (receipt["files"], receipt["files_erased_at"]) == (0, None)
    assert wired.reconciler().run_once().swept == 1
    assert files_below(settings.object_dir) == []
    receipt = client.get(answer.headers["location"]).json()
    assert receipt["files"] == 1
    assert receipt["files_erased_at"] is not None


def test_the_answer_does_not_wait_for_the_store(
    client: httpx.Client, wired: Wiring, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Files are removed once the answer is on its way, however slow the store is."""
    clip_id, _ = send(client)
    order: list[str] = []
    delete = type(wired.objects).delete_prefix

    def slow(self: object, prefix: str) -> int:
        order.append("files")
        return delete(self, prefix)  # type: ignore[arg-type]

    async def watched(scope: Any, receive: Any, send: Any) -> None:
        async def outgoing(message: Any) -> None:
            order.append(message["type"])
            await send(message)

        await wired_app(scope, receive, outgoing)

    wired_app = client._transport.app  # type: ignore[attr-defined]
    monkeypatch.setattr(type(wired.objects), "delete_prefix", slow)
    monkeypatch.setattr(client._transport, "app", watched)  # type: ignore[attr-defined]
    assert client.delete(f"/v1/clips/{clip_id}").status_code == 202
    assert order.index("http.response.body") < order.index("files")


def test_an_erasure_is_a_resource_and_ends_as_its_receipt(
    client: httpx.Client, wired: Wiring, as_key: Callable[..., dict[str, str]]
) -> None:
    clip_id, analysis_id = send(client)
    complete(wired, analysis_id)
    stored = len(list(wired.objects.list()))
    answer = client.delete(f"/v1/clips/{clip_id}")
    erasure = answer.json()
    assert answer.headers["location"] == erasure["links"]["self"]
    assert (erasure["of"], erasure["state"]) == (clip_id, "under_way")
    assert (erasure["clips"], erasure["work"], erasure["files"]) == (1, 1, 0)
    for _ in range(200):  # a reader of another process may hold the database up
        wired.reconciler().run_once()
        receipt = client.get(erasure["links"]["self"]).json()
        if receipt["database_cleaned_at"] is not None:
            break
        time.sleep(0.1)
    assert receipt["files"] == stored > 1
    assert receipt["files_erased_at"] is not None
    assert receipt["state"] == "under_way", "a job may still write"
    past = "datetime('now', '-1 day')" if wired.database.is_sqlite else "now() - interval '1 day'"
    with wired.database.write() as session:
        session.execute(text(f"UPDATE erasures SET sweep_until = {past}"))
    wired.reconciler().run_once()
    receipt = client.get(erasure["links"]["self"]).json()
    assert (receipt["state"], receipt["completed_at"] is not None) == ("completed", True)
    assert client.get("/v1/erasures").json()["items"] == [receipt]
    assert (
        client.get("/v1/erasures", headers=as_key(Scope.ADMIN, tenant="other")).json()["items"]
        == []
    )
    reader = as_key(Scope.RESULTS_READ)
    assert_problem(client.get("/v1/erasures", headers=reader), 403, "forbidden")


def test_postgresql_files_hold_no_erased_row(client: httpx.Client, wired: Wiring) -> None:
    """Looked for in the files of all tables, where a plain DELETE, and a plain VACUUM after it,
    leave the bytes."""
    if wired.database.is_sqlite:
        pytest.skip("PostgreSQL only")
    clip_id, analysis_id = send(client)
    complete(wired, analysis_id)
    assert CANARY.encode() in postgresql_files(wired)
    client.delete(f"/v1/clips/{clip_id}")
    with wired.database.write() as session:
        session.execute(text("DELETE FROM locks"))
    for _ in range(200):
        wired.reconciler().run_once()
        with wired.database.read() as session:
            if session.scalars(select(ErasureReceipt.database_cleaned_at)).one() is not None:
                break
        time.sleep(0.1)
    assert CANARY.encode() not in postgresql_files(wired)


def postgresql_files(wired: Wiring) -> bytes:
    """Return the bytes of the files of all tables, indexes and long values of this schema."""
    engine = wired.database.engine.execution_options(isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.execute(text("CHECKPOINT"))
        rows = connection.execute(
            text(
                "SELECT pg_read_binary_file(pg_relation_filepath(c.oid)) FROM pg_class c "
                "WHERE c.relkind IN ('r', 'i', 't') AND (c.relnamespace = "
                "current_schema()::regnamespace OR c.oid IN (SELECT reltoastrelid FROM pg_class "
                "WHERE relnamespace = current_schema()::regnamespace))"
            )
        )
        return b"".join(bytes(row[0]) for row in rows)


def test_tombstones_go_when_no_job_can_write_any_more(client: httpx.Client, wired: Wiring) -> None:
    clip_id, _ = send(client)
    client.delete(f"/v1/clips/{clip_id}")
    wired.reconciler().run_once()
    with wired.database.write() as session:
        assert session.execute(select(func.count()).select_from(Erasure)).scalar_one() == 2
        past = (
            "datetime('now', '-1 day')" if wired.database.is_sqlite else "now() - interval '1 day'"
        )
        session.execute(text(f"UPDATE erasures SET sweep_until = {past}"))
    wired.reconciler().run_once()
    with wired.database.read() as session:
        assert session.execute(select(func.count()).select_from(Erasure)).scalar_one() == 0


def test_sqlite_overwrites_what_it_deletes(tmp_path: Path) -> None:
    """The setting this relies on, shown with the bare driver."""
    found = {}
    for secure in ("OFF", "ON"):
        path = tmp_path / f"{secure}.db"
        connection = sqlite3.connect(path)
        connection.execute(f"PRAGMA secure_delete={secure}")
        connection.execute("CREATE TABLE t (a TEXT)")
        connection.execute("INSERT INTO t VALUES (?)", (CANARY,))
        connection.commit()
        connection.execute("DELETE FROM t")
        connection.commit()
        connection.close()
        found[secure] = CANARY.encode() in path.read_bytes()
    assert found == {"OFF": True, "ON": False}
