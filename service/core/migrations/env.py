"""Alembic environment: the URL comes from the caller, never from a file."""

from __future__ import annotations

from alembic import context

from service.core.database import WRITES, open_engine
from service.core.tables import Base


def run() -> None:
    """Run the migrations in one transaction."""
    engine = open_engine(context.config.attributes["url"])
    try:
        with engine.connect().execution_options(**{WRITES: True}) as connection:
            if engine.dialect.name == "sqlite":
                # Tables are altered by making them anew. With foreign keys on, dropping the old
                # one would delete its rows and all that hangs on them.
                raw = connection.connection.driver_connection
                assert raw is not None
                raw.execute("PRAGMA foreign_keys=OFF")
            context.configure(
                connection=connection,
                target_metadata=Base.metadata,
                render_as_batch=engine.dialect.name == "sqlite",
                compare_type=True,
            )
            with context.begin_transaction():
                # Two processes may start at once; the second waits and finds nothing to do.
                if engine.dialect.name == "postgresql":
                    connection.exec_driver_sql("SELECT pg_advisory_xact_lock(7368657276)")
                context.run_migrations()
    finally:
        engine.dispose()


run()
