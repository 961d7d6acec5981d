"""Erasing a clip: afterwards nothing anywhere holds a trace of it."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import httpx
import pytest
from sqlalchemy import func, select, text

from models.contract.errors import Erased, ObjectStoreUnavailable
from models.contract.vocabulary import WorkKind
from service.core.settings import Settings
from service.core.tables import Base, Erasure, OutboxEvent
from service.core.wiring import Wiring
from tests.integration.api.conftest import assert_problem, complete, files_below, film

CANARY = "canary-7f3a9c"


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
            if table.name == Erasure.__tablename__:
                continue  # holds object prefixes only, until no job can still write
            for row in session.execute(select(table)):
                found += [table.name for word in words if word in repr(tuple(row))]
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

    assert client.delete(f"/v1/clips/{clip_id}").status_code == 204
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
    assert client.delete(f"/v1/clips/{clip_id}").status_code == 204
    assert client.get(f"/v1/analyses/{analysis_id}/result").status_code == 200
    assert client.get(f"/v1/clips/{other}/content").status_code == 200


def test_running_job_cannot_bring_it_back(
    client: httpx.Client, wired: Wiring, settings: Settings
) -> None:
    clip_id, analysis_id = send(client)
    claim = wired.work.claim(WorkKind.ANALYSIS, analysis_id, 1, "w")
    assert client.delete(f"/v1/clips/{clip_id}").status_code == 204
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
        assert client.delete(f"/v1/clips/{clip_id}").status_code == 202
    assert_problem(client.get(f"/v1/clips/{clip_id}"), 404, "not_found")
    assert wired.reconciler().run_once().swept == 1
    assert files_below(settings.object_dir) == []


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
