"""A populated database of revision 0009 is migrated; its rows are served, go on and are erased."""

from __future__ import annotations

import secrets
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest
from sqlalchemy import MetaData, create_engine, func, select, text

from service.api.app import create_app
from service.core.database import migrate_url, revision_present, revision_wanted
from service.core.objects import LocalObjects
from service.core.queue import attempt_at
from service.core.settings import Settings
from service.core.wiring import Wiring
from tests.integration.api.conftest import TestClient, film
from tests.integration.api.receiver import Receiver, receiving
from tests.integration.api.tus_client import PART, SPOKEN
from tests.integration.api.version_0009 import dumped, load
from tests.unit.pipeline.fakes import FakeClip, stages
from workers.jobs import entry
from workers.jobs.analysis import analyse
from workers.jobs.attempt import run_attempt

IDS, OBJECTS = dumped()
HERE = f"/v1/players/{IDS['player_id']}"


def counted(url: str) -> dict[str, int]:
    """Return the number of rows of each table."""
    engine, known = create_engine(url), MetaData()
    known.reflect(engine)
    with engine.connect() as connection:
        found = {
            table.name: connection.execute(select(func.count()).select_from(table)).scalar_one()
            for table in known.sorted_tables
        }
        if engine.dialect.name == "sqlite":
            assert connection.execute(text("PRAGMA foreign_key_check")).all() == []
            assert connection.execute(text("PRAGMA integrity_check")).scalar_one() == "ok"
    engine.dispose()
    return found


@pytest.fixture
def old_url(empty_database_url: str, tmp_path: Path) -> str:
    load(empty_database_url, LocalObjects(tmp_path / "data" / "objects"), tmp_path)
    return empty_database_url


@pytest.fixture
def settings(old_url: str, tmp_path: Path, redis_server_url: str) -> Settings:
    migrate_url(old_url)
    return Settings(
        data_dir=tmp_path / "data",
        database_url=old_url,
        redis_url=redis_server_url,
        queue_name=f"test-{secrets.token_hex(6)}",
        background=False,
        webhook_private_networks=("127.0.0.0/8",),
        webhook_timeout_s=1.0,
    )


@pytest.fixture
def wired_and_client(settings: Settings) -> Iterator[tuple[Wiring, httpx.Client]]:
    app = create_app(settings)
    with TestClient(app, raise_server_exceptions=False) as client:
        client.headers["authorization"] = f"Bearer {IDS['key']}"  # given out by the old version
        yield app.state.wiring, client
    app.state.wiring.close()


@pytest.fixture
def client(wired_and_client: tuple[Wiring, httpx.Client]) -> httpx.Client:
    return wired_and_client[1]


@pytest.fixture
def wired(wired_and_client: tuple[Wiring, httpx.Client]) -> Wiring:
    return wired_and_client[0]


@pytest.fixture
def receiver() -> Iterator[Receiver]:
    with receiving() as server:
        yield server


def test_it_holds_a_row_of_every_kind(old_url: str) -> None:
    before = counted(old_url)
    assert len(before) == 25
    assert all(before.values()), before


def test_no_row_is_lost(old_url: str) -> None:
    before = counted(old_url)
    migrate_url(old_url)
    after = counted(old_url)
    moved = {"intake_consents": "consents"}
    for table, rows in before.items():
        kept = after.get(table, after.get(moved.get(table, table)))
        assert kept == rows, table


def test_everything_is_served(client: httpx.Client, wired: Wiring) -> None:
    assert revision_present(wired.database) == revision_wanted()
    assert client.get("/readyz").status_code == 200
    for path in (
        HERE,
        f"{HERE}/sessions/{IDS['session_id']}",
        f"/v1/clips/{IDS['clip_id']}",
        f"/v1/practice-rules/{IDS['rules_id']}",
        f"/v1/webhook-endpoints/{IDS['endpoint_id']}",
        f"/v1/intake-links/{IDS['link_id']}",
        f"/v1/erasures/{IDS['erasure_id']}",
        *IDS["documents"],
    ):
        assert client.get(path).status_code == 200, path
    for status in ("queued", "running", "failed", "cancelled"):
        assert client.get(f"/v1/analyses/{IDS[status]}").json()["status"] == status
    kept = {info.key for info in wired.objects.list()}
    assert kept == set(OBJECTS)
    done = client.get(f"/v1/analyses/{IDS['analysis_id']}").json()
    below = f"analyses/{IDS['analysis_id']}/1"
    for name, file in (("result", "result.json"), ("report.html", "report.html")):
        assert client.get(done["links"][name]).content == OBJECTS[f"{below}/{file}"]
    assert (
        client.get(f"/v1/clips/{IDS['clip_id']}/content").content
        == OBJECTS[f"clips/{IDS['clip_id']}/film"]
    )


def test_links_given_out_before_are_good(client: httpx.Client) -> None:
    guest = client.get(IDS["share_url"], headers={"authorization": ""})
    assert guest.status_code == 200
    assert IDS["analysis_id"] not in guest.text


def test_the_other_organisation_stays_apart(client: httpx.Client) -> None:
    other = {"authorization": f"Bearer {IDS['other_key']}"}
    assert client.get("/v1/players", headers=other).json()["items"] == []
    assert client.get(HERE, headers=other).status_code == 404


def test_replies_are_replayed(client: httpx.Client) -> None:
    clip = client.get(f"/v1/analyses/{IDS['queued']}").json()["clip_id"]
    again = client.post(
        "/v1/analyses", json={"clip_id": clip}, headers={"idempotency-key": "queued"}
    )
    assert again.json()["id"] == IDS["queued"]
    assert again.headers["idempotency-replayed"] == "true"


def test_unfinished_work_goes_on(client: httpx.Client, wired: Wiring) -> None:
    found = wired.reconciler().run_once()
    assert (found.enqueued_again, found.requeued) == (2, 1)
    for analysis, attempt in ((IDS["queued"], 1), (IDS["running"], 2)):
        assert wired.queue.is_known(analysis, attempt)
        run_attempt(
            wired,
            attempt_at(analysis, attempt),
            lambda *given: analyse(*given, lambda _models: stages(FakeClip())),
        )
        body = client.get(f"/v1/analyses/{analysis}").json()
        assert body["status"] == "completed", body["problem"]
        assert client.get(body["links"]["result"]).status_code == 200
    entry.work(wired, attempt_at(IDS["plan_queued"], 1))
    plan = client.get(f"{HERE}/plans/{IDS['plan_queued']}").json()
    assert plan["status"] == "completed", plan["problem"]


def test_an_upload_goes_on_where_it_was(client: httpx.Client) -> None:
    path = f"/v1/uploads/{IDS['upload_id']}"
    whole = film(b"x" * 4976)
    assert client.head(path, headers=SPOKEN).headers["upload-offset"] == "100"
    sent = client.patch(
        path,
        content=whole[100:],
        headers={**SPOKEN, "upload-offset": "100", "content-type": PART},
    )
    assert sent.status_code == 204, sent.text
    assert sent.headers["upload-offset"] == "5000"


def test_waiting_events_are_sent_under_their_ids(
    client: httpx.Client, wired: Wiring, receiver: Receiver
) -> None:
    path = f"/v1/webhook-endpoints/{IDS['endpoint_id']}"
    with wired.database.read() as session:
        waiting = session.execute(
            text(
                "SELECT event_id, body FROM deliveries JOIN outbox_events ON id = event_id "
                "WHERE state = 'pending' AND endpoint_id = :id"
            ),
            {"id": IDS["endpoint_id"]},
        ).all()
    tag = client.get(path).headers["etag"]
    changed = client.patch(path, json={"url": receiver.url}, headers={"if-match": tag})
    assert changed.status_code == 200, changed.text
    wired.sender().run_once()
    got = {headers["webhook-id"]: body.decode() for headers, body in receiver.got}
    assert waiting
    assert {row.event_id: row.body for row in waiting}.items() <= got.items()


def test_new_work_is_made_of_old(client: httpx.Client, wired: Wiring) -> None:
    again = client.post(
        f"{HERE}/plans", json={"analyses": [IDS["analysis_id"]]}, headers={"idempotency-key": "new"}
    )
    assert again.status_code == 201, again.text
    entry.work(wired, attempt_at(again.json()["id"], 1))
    made = client.get(again.json()["links"]["self"]).json()
    assert made["status"] == "completed", made["problem"]


def test_erasure_reaches_all_of_a_player(client: httpx.Client, wired: Wiring) -> None:
    tag = client.get(HERE).headers["etag"]
    gone = client.delete(HERE, headers={"if-match": tag})
    assert gone.status_code == 202, gone.text
    with wired.database.read() as session:
        for table in ("players", "sessions", "work", "work_inputs", "clips", "share_links"):
            left = session.execute(text(f"SELECT count(*) FROM {table}")).scalar_one()
            assert left == 0, table
    wired.reconciler().run_once()
    assert {info.key for info in wired.objects.list()} == set()
