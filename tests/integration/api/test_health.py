"""Liveness asks nobody; readiness names what is missing and recovers by itself."""

from __future__ import annotations

import threading

import httpx
import pytest

from service.api.app import create_app
from service.core.objects import LocalObjects
from service.core.queue import WorkQueue
from service.core.settings import Settings
from service.core.wiring import Wiring
from tests.integration.api.conftest import TestClient


def failing(client: httpx.Client) -> set[str]:
    reply = client.get("/readyz")
    body = reply.json()
    names = {name for name, check in body["checks"].items() if not check["ok"]}
    assert body["ready"] == (not names)
    assert reply.status_code == (503 if names else 200)
    assert client.get("/livez").status_code == 200
    return names


def test_all_is_well(anonymous: httpx.Client) -> None:
    assert failing(anonymous) == set()
    assert set(anonymous.get("/readyz").json()["checks"]) == {
        "database",
        "schema",
        "queue",
        "objects",
    }


def test_absent_queue_and_its_return(
    anonymous: httpx.Client, wired: Wiring, monkeypatch: pytest.MonkeyPatch
) -> None:
    away = WorkQueue("redis://127.0.0.1:1/0", "q", 60)
    with monkeypatch.context() as patch:
        patch.setattr(wired.queue, "connection", away.connection)
        assert failing(anonymous) == {"queue"}
    assert failing(anonymous) == set()


def test_absent_objects(anonymous: httpx.Client, settings: Settings, wired: Wiring) -> None:
    blocked = settings.object_dir.parent / "file"
    settings.object_dir.parent.mkdir(parents=True, exist_ok=True)
    blocked.write_text("a file where the folder should be")
    wired.objects._root = blocked  # type: ignore[attr-defined]
    wired.objects._pending = blocked / ".pending"  # type: ignore[attr-defined]
    assert failing(anonymous) == {"objects"}


def test_hanging_check_is_named_within_its_second(
    anonymous: httpx.Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    release = threading.Event()
    before = set(threading.enumerate())  # another test's service may still be ending
    with monkeypatch.context() as patch:
        patch.setattr("service.api.health.CHECK_S", 0.05)
        patch.setattr(LocalObjects, "ping", lambda self: release.wait(10) and None)
        probe = anonymous.app.state.probe  # type: ignore[attr-defined]
        probe._checks["objects"] = lambda: release.wait(10) and None
        assert "objects" in failing(anonymous)
        assert "objects" in failing(anonymous)
        started = set(threading.enumerate()) - before
        threads = [t for t in started if t.name.startswith("readiness")]
        assert len(threads) <= 4  # the hanging check was not started twice
        release.set()
        probe._running["objects"].result(10)
        probe._checks["objects"] = lambda: None
    assert failing(anonymous) == set()


def test_database_that_was_never_migrated(
    settings: Settings, tmp_path: object, capsys: pytest.CaptureFixture[str]
) -> None:
    bare = settings.model_copy(
        update={"database_url": None, "data_dir": settings.data_dir / "bare"}
    )
    with TestClient(create_app(bare)) as client:
        assert failing(client) == {"schema"}
        assert "servewright migrate" in client.get("/readyz").json()["checks"]["schema"]["detail"]
    assert "API key" not in capsys.readouterr().out


def test_first_start_prints_one_key_and_the_next_none(
    settings: Settings, capsys: pytest.CaptureFixture[str]
) -> None:
    with TestClient(create_app(settings)) as client:
        printed = capsys.readouterr().out
        key = printed.split()[-1]
        reply = client.get("/v1/api-keys", headers={"authorization": f"Bearer {key}"})
        assert reply.status_code == 200
    with TestClient(create_app(settings)):
        assert "API key" not in capsys.readouterr().out


def test_background_loops_run_and_stop(
    settings: Settings, capsys: pytest.CaptureFixture[str]
) -> None:
    busy = settings.model_copy(
        update={"background": True, "reconcile_interval_s": 0.05, "webhook_interval_s": 0.05}
    )
    app = create_app(busy)
    with TestClient(app):
        names = {thread.name for thread in threading.enumerate()}
        assert {"reconciler", "webhook-sender"} <= names
    names = {thread.name for thread in threading.enumerate()}
    assert not {"reconciler", "webhook-sender"} & names
