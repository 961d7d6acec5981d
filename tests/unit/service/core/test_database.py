"""Migrations, transactions, locks, time."""

from __future__ import annotations

import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import ExitStack
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import select, text
from sqlalchemy.exc import IntegrityError, StatementError

from models.contract.errors import DatabaseUnavailable
from service.core.database import Database, migrate_url, revision_present, revision_wanted
from service.core.tables import Base, Lock, Secret

ROOT = Path(__file__).resolve().parents[4]


def test_migrations_make_the_tables(empty_database_url: str) -> None:
    database = Database(empty_database_url)
    assert revision_present(database) is None
    migrate_url(empty_database_url)
    migrate_url(empty_database_url)
    assert revision_present(database) == revision_wanted()
    with database.engine.connect() as connection:
        differences = compare_metadata(MigrationContext.configure(connection), Base.metadata)
    assert differences == []
    database.close()


def test_newer_migrations_keep_the_rows_there_are(empty_database_url: str) -> None:
    """Rebuilding a table on SQLite would cascade into what hangs on it."""
    migrate_url(empty_database_url, "0001")
    database = Database(empty_database_url)
    rows = (
        "INSERT INTO clips (id, tenant_id, api_key_id, created_at, state, object_key, media_type)"
        " VALUES ('c', 'main', 'k', '2026-05-04', 'ready', 'o', 'video/mp4')",
        "INSERT INTO analyses (id, tenant_id, clip_id, created_at, status, progress, attempt,"
        " crashes, queued_at, options, artifacts, headline) VALUES"
        " ('a', 'main', 'c', '2026-05-04', 'completed', 1, 1, 0, '2026-05-04', '{}', '{}', '{}')",
        "INSERT INTO outbox_events (id, tenant_id, created_at, type, analysis_id, body)"
        " VALUES ('e', 'main', '2026-05-04', 'analysis.completed', 'a', '{}')",
        "INSERT INTO webhook_endpoints (id, tenant_id, created_at, updated_at, url, event_types,"
        " enabled, secret) VALUES ('w', 'main', '2026-05-04', '2026-05-04', 'u', '[]', true, 's')",
        "INSERT INTO deliveries (event_id, endpoint_id, state, tries, due_at)"
        " VALUES ('e', 'w', 'pending', 0, '2026-05-04')",
    )
    with database.write() as session:
        for row in rows:
            session.execute(text(row))
    migrate_url(empty_database_url)
    with database.read() as session:
        for table in ("clips", "work", "outbox_events", "deliveries"):
            assert session.execute(text(f"SELECT count(*) FROM {table}")).scalar_one() == 1
    database.close()


def test_several_may_migrate_at_once(empty_database_url: str) -> None:
    """Processes wait for each other in the database, threads for a lock."""
    program = "import sys; from service.core.database import migrate_url; migrate_url(sys.argv[1])"
    command = [sys.executable, "-c", program, empty_database_url]
    processes = [subprocess.Popen(command, cwd=ROOT) for _ in range(2)]
    threads = [threading.Thread(target=migrate_url, args=(empty_database_url,)) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert [process.wait() for process in processes] == [0, 0]
    database = Database(empty_database_url)
    assert revision_present(database) == revision_wanted()
    database.close()


@pytest.fixture
def database(database_url: str) -> Iterator[Database]:
    opened = Database(database_url)
    yield opened
    opened.close()


def test_failed_transaction_leaves_nothing(database: Database) -> None:
    def interrupted() -> None:
        with database.write() as session:
            session.add(Secret(name="a", value="b"))
            session.flush()
            raise RuntimeError

    with pytest.raises(RuntimeError):
        interrupted()
    with database.read() as session:
        assert session.scalars(select(Secret)).all() == []
    database.close()


def test_writers_wait_for_each_other(database: Database) -> None:
    """Read, then write: without BEGIN IMMEDIATE SQLite would refuse some of these at once."""
    with database.write() as session:
        session.add(Secret(name="count", value="0"))

    def add() -> None:
        for _ in range(10):
            with database.write() as session:
                row = session.execute(
                    select(Secret).where(Secret.name == "count").with_for_update()
                ).scalar_one()
                row.value = str(int(row.value) + 1)

    threads = [threading.Thread(target=add) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    with database.read() as session:
        assert session.get_one(Secret, "count").value == "40"
    database.close()


def test_lock_has_one_holder_until_it_lapses(database_url: str) -> None:
    now = datetime(2026, 5, 1, tzinfo=UTC)
    database = Database(database_url, clock=lambda: now)
    assert database.take_lock("l", "a", 10)
    assert not database.take_lock("l", "b", 10)
    assert database.take_lock("l", "a", 10)
    now += timedelta(seconds=11)
    assert database.take_lock("l", "b", 10)
    assert not database.take_lock("l", "a", 10)
    database.close()


def test_one_of_many_takes_a_new_lock(database: Database) -> None:
    taken: list[bool] = []
    threads = [
        threading.Thread(target=lambda n=n: taken.append(database.take_lock("l", f"h{n}", 60)))  # type: ignore[misc]
        for n in range(6)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sum(taken) == 1
    database.close()


def test_times_come_back_in_utc(database: Database) -> None:
    moment = datetime(2026, 5, 1, 12, 30, 15, 123456, tzinfo=UTC)
    with database.write() as session:
        session.add(Lock(name="l", holder="h", until=moment))
    with database.read() as session:
        found = session.get_one(Lock, "l").until
        assert found == moment
        assert found.utcoffset() == timedelta(0)
        assert abs((database.now(session) - datetime.now(UTC)).total_seconds()) < 60
    with pytest.raises(StatementError, match="naive"), database.write() as session:
        session.add(Lock(name="m", holder="h", until=datetime(2026, 5, 1)))
    database.close()


def test_absent_database_is_a_typed_error() -> None:
    database = Database("postgresql+psycopg://nobody@127.0.0.1:1/none?connect_timeout=2")
    with pytest.raises(DatabaseUnavailable):
        database.ping()
    with pytest.raises(DatabaseUnavailable):
        revision_present(database)


def test_the_folder_of_a_new_sqlite_file_is_for_its_user_alone(tmp_path: Path) -> None:
    Database(f"sqlite:///{tmp_path}/new/a.db").close()
    assert (tmp_path / "new").stat().st_mode & 0o077 == 0


def test_no_free_connection_is_a_typed_error(
    database: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(database.engine.pool, "_timeout", 0.01)

    def take_all(held: ExitStack) -> None:
        for _ in range(100):
            held.enter_context(database.read()).execute(text("SELECT 1"))

    with pytest.raises(DatabaseUnavailable), ExitStack() as held:
        take_all(held)
    database.ping()


def test_a_database_without_tables_asks_for_the_migration(empty_database_url: str) -> None:
    database = Database(empty_database_url)
    with (
        pytest.raises(DatabaseUnavailable, match="servewright migrate"),
        database.read() as session,
    ):
        session.execute(select(Secret))
    database.close()


def test_sqlite_is_opened_as_this_project_needs_it(tmp_path: object) -> None:
    database = Database(f"sqlite:///{tmp_path}/a.db")
    with database.read() as session:
        for pragma, value in (
            ("journal_mode", "wal"),
            ("foreign_keys", 1),
            ("secure_delete", 1),
            ("busy_timeout", 15_000),
        ):
            assert session.execute(text(f"PRAGMA {pragma}")).scalar_one() == value
    database.close()


def test_errors_do_not_show_the_values_of_a_statement(database: Database) -> None:
    def add() -> None:
        with database.write() as session:
            session.add(Secret(name="pepper", value="hidden-word"))

    add()
    with pytest.raises(IntegrityError) as caught:
        add()
    assert "hidden-word" not in str(caught.value)
