"""Liveness asks nobody; readiness names what is missing and recovers by itself."""

from __future__ import annotations

import threading
from pathlib import Path

import httpx
import pytest
from pydantic import SecretStr

from service.api.app import create_app
from service.core.key_text import key_text, new_key_id, new_secret
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
    away = WorkQueue("redis://127.0.0.1:1/0", lambda: "q", 60)
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
    assert not bare.first_key_path.exists()


def test_the_first_key_lies_in_a_file_of_its_owner(
    settings: Settings, capsys: pytest.CaptureFixture[str], caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level("INFO")
    with TestClient(create_app(settings)) as client:
        key = settings.first_key_path.read_text().strip()
        assert settings.first_key_path.stat().st_mode & 0o777 == 0o600
        reply = client.get("/v1/api-keys", headers={"authorization": f"Bearer {key}"})
        assert reply.status_code == 200
    said = caplog.text + "".join(capsys.readouterr())
    assert str(settings.first_key_path) in said
    assert "sw_" not in said
    settings.first_key_path.unlink()
    with TestClient(create_app(settings)):
        assert not settings.first_key_path.exists()


def test_the_first_key_may_be_given(settings: Settings) -> None:
    key = key_text(new_key_id(), new_secret())
    given = settings.model_copy(update={"first_key": SecretStr(key)})
    for _ in range(2):
        with TestClient(create_app(given)) as client:
            reply = client.get("/v1/api-keys", headers={"authorization": f"Bearer {key}"})
            assert len(reply.json()["items"]) == 1
    assert not given.first_key_path.exists()


def test_no_key_is_made_that_nobody_could_have(
    settings: Settings, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    (tmp_path / "file").write_text("")
    away = settings.model_copy(update={"first_key_file": tmp_path / "file" / "key"})
    app = create_app(away)
    with TestClient(app):
        assert app.state.wiring.keys.list() == []
    assert "SERVEWRIGHT_FIRST_KEY_FILE" in caplog.text
    with TestClient(create_app(settings)):  # the next start makes it
        assert settings.first_key_path.read_text().startswith("sw_")


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
