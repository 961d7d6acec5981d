"""A backup restored into an empty installation: every row and every object equal."""

from __future__ import annotations

import hashlib
import io
import json
import secrets
import tarfile
from collections.abc import Callable, Iterator
from pathlib import Path

import httpx
import pytest
from sqlalchemy import create_engine, make_url, select, text

from models.contract.errors import InvalidRequest
from service.core.backup import plain, tables_of, write_backup
from service.core.database import Database, migrate_url, revision_present, revision_wanted
from service.core.objects import LocalObjects, Objects
from service.core.restore import Restorer
from service.core.wiring import Wiring
from tests.conftest import DATABASE_URL
from tests.integration.api.organisation_story import Story

Target = Callable[[], tuple[str, LocalObjects]]


def rows_of(database: Database) -> dict[str, list[str]]:
    """Return all rows of all tables, comparable between kinds of database."""
    with database.engine.connect() as connection:
        return {
            table.name: sorted(
                json.dumps({name: plain(value) for name, value in row.items()}, sort_keys=True)
                for row in connection.execute(select(table)).mappings()
            )
            for table in tables_of(connection).sorted_tables
        }


def objects_of(objects: Objects) -> dict[str, str]:
    found = {}
    for info in objects.list():
        with objects.open(info.key) as stream:
            found[info.key] = hashlib.sha256(stream.read()).hexdigest()
    return found


@pytest.fixture(params=["sqlite", "postgresql"])
def target(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Target]:
    """Return a maker of an empty installation, of the same kind or of another: no tables yet."""
    if request.param == "postgresql" and not DATABASE_URL:
        pytest.skip("no PostgreSQL server was given")
    schema = f"restored_{secrets.token_hex(6)}"

    def make() -> tuple[str, LocalObjects]:
        objects = LocalObjects(tmp_path / "new-objects")
        if request.param == "sqlite":
            return f"sqlite:///{tmp_path / 'new.db'}", objects
        run(f"CREATE SCHEMA {schema}")
        url = make_url(str(DATABASE_URL)).update_query_dict({"options": f"-csearch_path={schema}"})
        return url.render_as_string(hide_password=False), objects

    def run(statement: str) -> None:
        engine = create_engine(str(DATABASE_URL))
        with engine.begin() as connection:
            connection.execute(text(statement))
        engine.dispose()

    yield make
    if request.param == "postgresql":
        run(f"DROP SCHEMA IF EXISTS {schema} CASCADE")


def test_every_row_and_object_is_there_again(
    client: httpx.Client, wired: Wiring, target: Target, tmp_path: Path
) -> None:
    Story(client, wired)
    file = tmp_path / "backup.tar"
    made = write_backup(wired.database, wired.objects, file)
    assert file.stat().st_mode & 0o077 == 0, "films and secrets: for its owner alone"
    before, stored = rows_of(wired.database), objects_of(wired.objects)
    assert made.rows == sum(map(len, before.values())) > 40
    assert made.files == len(stored) > 20

    address, objects = target()
    assert Restorer(address, objects).restore(file) == made
    restored = Database(address)
    try:
        assert rows_of(restored) == before
        assert objects_of(objects) == stored
    finally:
        restored.close()


def test_a_restored_installation_goes_on(
    client: httpx.Client, wired: Wiring, analysis_id: str, target: Target, tmp_path: Path
) -> None:
    """Keys are good, films are there, and unfinished work is sent to the queue again."""
    from service.api.app import create_app
    from tests.integration.api.conftest import TestClient

    file = tmp_path / "backup.tar"
    write_backup(wired.database, wired.objects, file)
    address, _ = target()
    objects = LocalObjects(tmp_path / "restored" / "objects")
    Restorer(address, objects).restore(file)
    settings = wired.settings.model_copy(
        update={
            "database_url": type(wired.settings.database_url)(address),  # type: ignore[misc]
            "data_dir": tmp_path / "restored",
            "queue_name": f"{wired.queue.name}-restored",
            "requeue_after_s": 0.0,
        }
    )
    app = create_app(settings)
    with TestClient(app) as anew:
        headers = {"authorization": client.headers["authorization"]}
        seen = anew.get(f"/v1/analyses/{analysis_id}", headers=headers).json()
        assert seen["status"] == "queued"
        content = anew.get(f"/v1/clips/{seen['clip_id']}/content", headers=headers)
        assert content.status_code == 200
        assert app.state.wiring.reconciler().run_once().enqueued_again == 1


def test_it_restores_only_into_an_empty_installation(
    client: httpx.Client, wired: Wiring, analysis_id: str, target: Target, tmp_path: Path
) -> None:
    file = tmp_path / "backup.tar"
    write_backup(wired.database, wired.objects, file)
    with pytest.raises(FileExistsError):
        write_backup(wired.database, wired.objects, file)
    address, objects = target()
    restorer = Restorer(address, objects)
    restorer.restore(file)
    with pytest.raises(InvalidRequest, match="object store is not empty"):
        restorer.restore(file)
    for info in list(objects.list()):
        objects.delete(info.key)
    with pytest.raises(InvalidRequest, match="database is not empty"):
        restorer.restore(file)


@pytest.mark.parametrize("harm", ["cut", "other bytes", "no archive", "a later form"])
def test_a_damaged_backup_leaves_nothing(
    client: httpx.Client, wired: Wiring, analysis_id: str, target: Target, tmp_path: Path, harm: str
) -> None:
    file = tmp_path / "backup.tar"
    write_backup(wired.database, wired.objects, file)
    content = file.read_bytes()
    if harm == "cut":
        file.write_bytes(content[: len(content) // 2])
    elif harm == "other bytes":
        film = content.index(b"ftypisom")
        file.write_bytes(content[:film] + b"FTYP" + content[film + 4 :])
    elif harm == "no archive":
        file.write_bytes(b"hello" * 1000)
    else:
        with tarfile.open(file, "w") as archive:
            data = json.dumps({"format": 99}).encode()
            entry = tarfile.TarInfo("manifest.json")
            entry.size = len(data)
            archive.addfile(entry, io.BytesIO(data))
    address, objects = target()
    with pytest.raises(InvalidRequest):
        Restorer(address, objects).restore(file)
    assert list(objects.list()) == []
    database = Database(address)
    try:
        if revision_present(database) is not None:
            assert rows_of(database)["clips"] == []
    finally:
        database.close()


def test_a_backup_of_an_earlier_revision_is_brought_to_the_present(
    empty_database_url: str, target: Target, tmp_path: Path
) -> None:
    """Rows of the revision before the last, restored and migrated as an upgrade would."""
    earlier = "0008"
    migrate_url(empty_database_url, earlier)
    database = Database(empty_database_url)
    objects = LocalObjects(tmp_path / "earlier")
    objects.put_bytes("clips/clip_1/film", b"film", "video/mp4")
    file = tmp_path / "backup.tar"
    try:
        assert write_backup(database, objects, file).revision == earlier
    finally:
        database.close()
    address, restored = target()
    assert Restorer(address, restored).restore(file).revision == earlier
    opened = Database(address)
    try:
        assert revision_present(opened) == revision_wanted() != earlier
    finally:
        opened.close()
    assert objects_of(restored) == objects_of(objects)
