"""Words planted wherever somebody can write one are looked for where bytes are kept, once what they
stood in was erased or its time was over: files of the database, objects, Redis, logs, temporary
files. Runs on SQLite with a folder, and on PostgreSQL where one is given.
"""

from __future__ import annotations

import logging
import tempfile
import time
from collections.abc import Iterator
from datetime import timedelta
from hashlib import sha256
from pathlib import Path
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from sqlalchemy import select, text

from service.core.reach import EVERYTHING
from service.core.settings import Settings
from service.core.tables import Clip, ErasureReceipt, Work
from service.core.wiring import Wiring
from tests.integration.api.coaching import made, new_player, new_session
from tests.integration.api.conftest import TestClient, complete, files_below
from tests.integration.api.test_consents import PAPER
from tests.integration.api.test_erasure import postgresql_files
from tests.integration.api.test_intake_links import new_link, sent
from tests.integration.api.test_keeping import aged, rule
from tests.unit.service.core.test_film_metadata import PLACE, planted_boxes

FILM = planted_boxes()
BY_LINK = FILM + b"\0\0\0\x10free" + b"PLANTED!"
WRITTEN = {
    "external id": "planted-member-Quill",
    "notes": "planted note on a shoulder",
    "session notes": "planted note on a day",
    "giver": "Planted Robin Vale",
    "guest": "Planted Guest Name",
    "wording": "Planted wording of a consent",
    "label": "Planted label of a link",
    "reference": "planted-reference-0417",
    "file name": "planted-file-name",
    "result": "planted words of a report",
    "refused": "planted word of a refused call",
    "place": PLACE,
    "place in XMP": "PLANTED GPS",
    "digest of what was sent": sha256(FILM).hexdigest(),
    "digest of what was sent by a link": sha256(BY_LINK).hexdigest(),
}


@pytest.fixture
def temporary(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "temporary"
    folder.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(folder))
    return folder


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Path]:
    """Everything that is logged, at every level, in a file."""
    path = tmp_path / "service.log"
    handler = logging.FileHandler(path)
    root = logging.getLogger()
    level = root.level
    ours = [logging.getLogger(name) for name in ("service", "workers", "sqlalchemy.engine", "rq")]
    levels = [one.level for one in ours]
    root.addHandler(handler)
    root.setLevel(logging.INFO)
    for one in ours:
        one.setLevel(logging.DEBUG if one.name != "sqlalchemy.engine" else logging.WARNING)
    yield path
    root.removeHandler(handler)
    root.setLevel(level)
    for one, before in zip(ours, levels, strict=True):
        one.setLevel(before)
    handler.close()


def plant(client: httpx.Client, app: FastAPI, wired: Wiring) -> tuple[str, str]:
    """Write every word where it can be written; return the player and an analysis."""
    word = WRITTEN
    client.post("/v1/webhook-endpoints", json={"url": "https://hooks.example.org/a"})
    said = {"external_id": word["external id"], "notes": word["notes"], "birth_year": 1980}
    player = new_player(client, **said)
    session = new_session(client, player, "baseline", 1, notes=word["session notes"])
    paper = {**PAPER, "name": word["giver"], "text": word["wording"]}
    made(client.post(f"/v1/players/{player}/consents", json=paper))
    files = {"file": (f"{word['file name']}.mp4", FILM, "video/mp4")}
    about = {"session_id": session, "external_ref": word["reference"]}
    about["sha256"] = word["digest of what was sent"]
    clip = made(client.post("/v1/clips", files=files, data=about))
    assert clip["metadata"] == "removed"
    analysis = made(
        client.post(
            "/v1/analyses",
            json={"clip_id": clip["id"], "external_ref": word["reference"]},
            headers={"idempotency-key": word["reference"]},
        )
    )["id"]
    complete(wired, analysis)
    with wired.database.read(EVERYTHING) as read:
        artifacts = read.get_one(Work, analysis).artifacts
    for name in ("report.html", "joints"):
        wired.objects.put_bytes(artifacts[name]["key"], word["result"].encode(), "text/plain")
    made(client.post("/v1/share-links", json={"of": analysis, "files": ["report.html"]}))
    consent = {"text": word["wording"], "version": "1"}
    link = new_link(client, player_id=player, label=word["label"], consent=consent)
    with TestClient(app) as guest:
        given = {"given_by": "guardian", "name": word["guest"], "version": "1"}
        agreed = made(guest.post(f"{link['url']}/consents", json=given))["id"]
        assert sent(guest, link["url"], agreed, BY_LINK)["state"] == "finished"
    client.get("/v1/clips", params={"external_ref": word["refused"]})
    client.post("/v1/players", json={"external_id": 7, "notes": word["refused"]})
    client.post("/v1/clips", files={"file": (word["file name"], b"no film", "video/mp4")})
    assert client.get(f"/v1/players/{player}/export").status_code == 200
    return player, analysis


def in_redis(wired: Wiring) -> bytes:
    connection = wired.queue.connection
    read = {
        b"string": connection.get,
        b"hash": connection.hgetall,
        b"list": lambda key: connection.lrange(key, 0, -1),
        b"set": connection.smembers,
        b"zset": lambda key: connection.zrange(key, 0, -1),
    }
    found: list[Any] = []
    for key in connection.scan_iter():
        found += [key, read[connection.type(key)](key)]
    return repr(found).encode()


def kept(wired: Wiring, settings: Settings, log: Path, temporary: Path) -> dict[str, bytes]:
    """Return all bytes that are kept, by where."""
    if wired.database.is_sqlite:
        path = Path(settings.database_address.removeprefix("sqlite:///"))
        database = b"".join(one.read_bytes() for one in path.parent.glob(f"{path.name}*"))
    else:
        database = postgresql_files(wired)
    objects = files_below(settings.object_dir)
    left = [path for path in temporary.rglob("*") if path.is_file()]
    return {
        "database": database,
        "objects": b"".join(str(path).encode() + path.read_bytes() for path in objects),
        "redis": in_redis(wired),
        "logs": log.read_bytes(),
        "temporary files": b"".join(str(path).encode() + path.read_bytes() for path in left),
    }


def found(where: dict[str, bytes], words: dict[str, str]) -> set[tuple[str, str]]:
    return {
        (place, name)
        for place, data in where.items()
        for name, word in words.items()
        if word.encode() in data
    }


def swept(wired: Wiring) -> None:
    """Let the background work until the files of the database are clean too."""
    for _ in range(200):  # a reader of another process may hold the database up
        with wired.database.write(EVERYTHING) as session:
            session.execute(text("DELETE FROM locks"))
        wired.reconciler().run_once()
        with wired.database.read(EVERYTHING) as session:
            cleaned = session.scalars(select(ErasureReceipt.database_cleaned_at)).all()
        if cleaned and all(cleaned):
            return
        time.sleep(0.1)
    raise AssertionError("the database was not cleaned")


def test_nothing_is_left_after_erasure(
    client: httpx.Client,
    app: FastAPI,
    wired: Wiring,
    settings: Settings,
    log: Path,
    temporary: Path,
) -> None:
    player, _ = plant(client, app, wired)
    before = found(kept(wired, settings, log, temporary), WRITTEN)
    assert {place for place, _ in before} == {"database", "objects"}
    assert {name for place, name in before if place == "objects"} == {"result"}, "places are gone"
    in_rows = {name for place, name in before if place == "database"}
    assert in_rows >= set(WRITTEN) - {
        *("file name", "result", "refused", "place", "place in XMP"),
        *("digest of what was sent", "digest of what was sent by a link"),
    }
    assert client.delete(f"/v1/players/{player}").status_code == 202
    swept(wired)
    assert found(kept(wired, settings, log, temporary), WRITTEN) == set()
    assert files_below(settings.object_dir) == []


def test_nothing_of_films_and_reports_is_left_after_their_time(
    client: httpx.Client,
    app: FastAPI,
    wired: Wiring,
    settings: Settings,
    log: Path,
    temporary: Path,
) -> None:
    """What is written of the player stays until erased; what goes is what has a time."""
    player, analysis = plant(client, app, wired)
    with wired.database.read(EVERYTHING) as session:
        clip_id = session.get_one(Work, analysis).clip_id
    stored = client.get(f"/v1/clips/{clip_id}").json()["sha256"]
    with wired.database.write(EVERYTHING) as session:  # as an analysis of the real film says it
        clip = session.get_one(Clip, clip_id)
        clip.facts = {**(clip.facts or {}), "sha256": stored}
        session.get_one(Work, analysis).first_look = {"clip": {"sha256": stored}}
    timed = {
        **{name: WRITTEN[name] for name in WRITTEN if "digest" in name or "place" in name},
        "result": WRITTEN["result"],
        "digest of what is stored": stored,
    }
    assert ("database", "digest of what is stored") in found(
        kept(wired, settings, log, temporary), timed
    )
    rule(client, films_days=1, joints_days=1, reports_days=1)
    aged(wired, timedelta(days=30))
    with wired.database.write(EVERYTHING) as session:
        session.execute(text("DELETE FROM idempotent_replies"))  # forgotten after a day
    swept(wired)
    assert found(kept(wired, settings, log, temporary), timed) == set()
    left = {path.name for path in files_below(settings.object_dir)}
    assert left == {"result.json", "events.json", "metrics.json"}
    assert client.get(f"/v1/players/{player}").json()["notes"] == WRITTEN["notes"]
