"""PostgreSQL: takes erased rows out of the database's files.

A deleted row stays in its table's file until VACUUM, and VACUUM alone leaves its bytes in the gap
of a page where nothing has been put since. VACUUM FULL writes the table anew without it. It locks
the table meanwhile, so it runs now and then, for all erasures since the last time, and gives way
to whoever uses the table. Copies in the write-ahead log go when its segments are recycled, those
in backups when these are thrown away: see infra/erasure.md.
"""

from __future__ import annotations

import logging
import secrets

from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from service.core.database import Database
from service.core.narrowing import narrowed_tables

logger = logging.getLogger(__name__)

LOCK = "vacuum"
LOCK_TIMEOUT_MS = 3000
"""Wait for a table that others use, milliseconds; everybody who comes later waits behind it
(working value)."""
_OLDER = text(
    "SELECT count(*) FROM pg_stat_activity WHERE pid <> pg_backend_pid() "
    "AND datname = current_database() AND backend_xmin IS NOT NULL AND xact_start < now() "
    "- make_interval(secs => 60)"
)
"""Transactions old enough that rows erased since are kept for them (PostgreSQL manual, 24.1.2)."""


def vacuum(database: Database, interval_s: float) -> bool:
    """Write the tables that hold what organisations own anew, unless that was done lately.

    Returns
    -------
    bool
        True when every row that was erased before this call is out of the tables' files.
    """
    if not database.take_lock(LOCK, secrets.token_hex(8), interval_s):
        return False
    names = sorted(table.__tablename__ for table in narrowed_tables())
    engine = database.engine.execution_options(isolation_level="AUTOCOMMIT")
    try:
        with engine.connect() as connection:
            connection.execute(text(f"SET lock_timeout = {LOCK_TIMEOUT_MS}"))
            try:
                if connection.execute(_OLDER).scalar_one():
                    logger.warning("vacuum: put off, a transaction is open since over a minute")
                    return False
                for name in names:
                    connection.execute(text(f"VACUUM (FULL, ANALYZE) {name}"))
                # Samples of values, names among them, that the planner was given before.
                connection.execute(text("VACUUM FULL pg_catalog.pg_statistic"))
            finally:
                connection.execute(text("RESET lock_timeout"))
    except DBAPIError as error:
        logger.warning("vacuum: put off: %s", type(error.orig).__name__)
        return False
    return True
