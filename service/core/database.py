"""Engine, transactions and migrations. SQLite (embedded) or PostgreSQL by psycopg 3."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, Engine, create_engine, event, insert, make_url, select, text
from sqlalchemy import update as sql_update
from sqlalchemy.exc import DBAPIError, IntegrityError
from sqlalchemy.exc import TimeoutError as PoolTimeout
from sqlalchemy.orm import Session

from models.contract.errors import DatabaseUnavailable
from models.contract.note_codes import NoteCode, say
from service.core.narrowing import NarrowedSession
from service.core.reach import REACH, Reach, current_reach
from service.core.settings import Settings
from service.core.tables import Lock

if TYPE_CHECKING:  # most processes never migrate, and alembic takes long to import
    from alembic.config import Config

MIGRATIONS = Path(__file__).resolve().parent / "migrations"
BUSY_TIMEOUT_MS = 15_000
"""How long SQLite waits for another writer, milliseconds."""
WRITES = "servewright_writes"
_ALEMBIC = threading.Lock()  # its migration context is global to the process


def open_engine(url: str) -> Engine:
    """Return an engine with the session settings this project relies on.

    SQLite: write-ahead log, foreign keys, a busy timeout, and ``secure_delete`` so that erased
    rows do not linger in free pages. Transactions are begun explicitly (``BEGIN IMMEDIATE`` for
    writers: a reader that upgrades later would fail at once instead of waiting). Errors never
    show the values of a statement: they would end in the log.
    """
    parsed = make_url(url)
    if parsed.get_backend_name() != "sqlite":
        return create_engine(
            parsed, pool_pre_ping=True, pool_size=5, max_overflow=15, hide_parameters=True
        )
    if parsed.database and parsed.database != ":memory:":
        Path(parsed.database).parent.mkdir(0o700, parents=True, exist_ok=True)
    engine = create_engine(
        parsed, connect_args={"timeout": BUSY_TIMEOUT_MS / 1000}, hide_parameters=True
    )

    @event.listens_for(engine, "connect")
    def _connect(connection: Any, _record: Any) -> None:
        connection.isolation_level = None
        cursor = connection.cursor()
        for pragma in (
            f"busy_timeout={BUSY_TIMEOUT_MS}",
            "journal_mode=WAL",
            "synchronous=NORMAL",
            "foreign_keys=ON",
            "secure_delete=ON",
        ):
            cursor.execute(f"PRAGMA {pragma}")
        cursor.close()

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        writes = connection.get_execution_options().get(WRITES, False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine


class Database:
    """Access to the source of truth.

    Parameters
    ----------
    url : str
        SQLAlchemy URL.
    clock : callable or None
        For tests: replaces the clock of :meth:`now`.
    """

    def __init__(self, url: str, clock: Callable[[], datetime] | None = None) -> None:
        self.engine = open_engine(url)
        self._writer = self.engine.execution_options(**{WRITES: True})
        self._clock = clock

    @property
    def is_sqlite(self) -> bool:
        """Whether this is the embedded database."""
        return self.engine.dialect.name == "sqlite"

    @contextmanager
    def read(self, reach: Reach | None = None) -> Iterator[Session]:
        """Yield a session for reading; nothing is committed.

        Parameters
        ----------
        reach : Reach or None
            What it may see; None = what the caller of this request may see.
        """
        with _translated(), self._session(self.engine, reach) as session:
            yield session

    @contextmanager
    def write(self, reach: Reach | None = None) -> Iterator[Session]:
        """Yield a session in one transaction: committed at the end, rolled back on an error."""
        with (
            _translated(),
            self._session(self._writer, reach) as session,
            session.begin(),
        ):
            yield session

    def _session(self, engine: Engine, reach: Reach | None) -> Session:
        return NarrowedSession(
            engine, expire_on_commit=False, info={REACH: reach or current_reach()}
        )

    def now(self, session: Session) -> datetime:
        """Return the present time by the one clock all processes share.

        PostgreSQL: the server's clock, so that hosts with wrong clocks agree on leases. SQLite:
        the clock of the one host that has the file.
        """
        if self._clock is not None:
            return self._clock()
        if self.is_sqlite:
            return datetime.now(UTC)
        value: datetime = session.execute(text("SELECT clock_timestamp()")).scalar_one()
        return value.astimezone(UTC)

    def ping(self) -> None:
        """Raise :class:`DatabaseUnavailable` unless a query is answered."""
        with self.read() as session:
            session.execute(text("SELECT 1"))

    def take_lock(self, name: str, holder: str, ttl_s: float) -> bool:
        """Take or renew the named lock row; return whether this holder has it now.

        The lock lapses ``ttl_s`` seconds after the last renewal. It elects who acts; the actions
        themselves stay safe when two believe they hold it.
        """
        try:
            with self.write() as session:
                now = self.now(session)
                until = now + timedelta(seconds=ttl_s)
                row = session.execute(
                    select(Lock).where(Lock.name == name).with_for_update()
                ).scalar_one_or_none()
                if row is None:
                    session.execute(insert(Lock).values(name=name, holder=holder, until=until))
                    return True
                if row.holder != holder and row.until > now:
                    return False
                session.execute(
                    sql_update(Lock).where(Lock.name == name).values(holder=holder, until=until)
                )
                return True
        except IntegrityError:
            return False

    def checkpoint(self) -> bool:
        """SQLite: move the write-ahead log into the file and truncate it, after an erasure.

        Rows themselves are overwritten as they are deleted (``secure_delete``).

        Returns
        -------
        bool
            False when a reader holds it up.
        """
        with _translated(), self.engine.connect() as connection:
            raw = connection.connection.driver_connection
            assert raw is not None
            busy, *_ = raw.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
            return bool(busy == 0)

    def close(self) -> None:
        """Close all connections."""
        self.engine.dispose()


@contextmanager
def _translated() -> Iterator[None]:
    """Turn a lost or refused connection into our error; let statement errors through."""
    try:
        yield
    except IntegrityError:
        raise
    except PoolTimeout as error:  # every connection is in use
        raise DatabaseUnavailable() from error
    except DBAPIError as error:
        if _lacks_tables(error):
            raise DatabaseUnavailable(say(NoteCode.DATABASE_NOT_MIGRATED)) from error
        if error.connection_invalidated or type(error).__name__ == "OperationalError":
            raise DatabaseUnavailable() from error
        raise


def _lacks_tables(error: DBAPIError) -> bool:
    """Tell whether a table or column is missing: SQLSTATE, or what SQLite says."""
    state = getattr(error.orig, "sqlstate", None)
    missing = str(error.orig).startswith(("no such table", "no such column"))
    return state in ("42P01", "42703") or missing


def _alembic(url: str) -> Config:
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS))
    config.attributes["url"] = url
    return config


def migrate(settings: Settings, revision: str = "head") -> None:
    """Bring the database of these settings to a revision (default: the newest)."""
    migrate_url(settings.database_address, revision)


def migrate_url(url: str, revision: str = "head") -> None:
    """Bring the database at a URL to a revision."""
    from alembic import command

    with _ALEMBIC, _translated():
        command.upgrade(_alembic(url), revision)


def revision_wanted() -> str:
    """Return the newest migration this code ships."""
    from alembic.script import ScriptDirectory

    head = ScriptDirectory.from_config(_alembic("")).get_current_head()
    assert head is not None
    return head


def revision_present(database: Database) -> str | None:
    """Return the revision the database is at; None when it was never migrated."""
    from alembic.migration import MigrationContext

    with _translated(), database.engine.connect() as connection:
        return MigrationContext.configure(connection).get_current_revision()
