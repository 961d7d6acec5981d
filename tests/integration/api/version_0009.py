"""An installation as the code at revision 0009 left it: every row of a SQLite file, every object.

Made by running the API of that version: an organisation with one of everything (players, films,
results, documents, rules, webhooks, links, an upload of which 100 bytes are in, an erasure) and
work in every state, and a second organisation. Names in it are invented.
"""

from __future__ import annotations

import base64
import gzip
import json
import re
import sqlite3
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from sqlalchemy import JSON, Boolean, DateTime, MetaData, create_engine

from service.core.database import migrate_url
from service.core.objects import LocalObjects

DATA = Path(__file__).resolve().parents[2] / "data" / "version_0009"
REVISION = "0009"
_MOMENT = re.compile(r"\d{4}-\d\d-\d\d \d\d:\d\d:\d\d\.\d{6}")
_FORM = "%Y-%m-%d %H:%M:%S.%f"


def dumped() -> tuple[dict[str, Any], dict[str, bytes]]:
    """Return the ids of what is in it, by what it is, and its objects by key."""
    held = json.loads(gzip.decompress((DATA / "objects.json.gz").read_bytes()))
    return held["ids"], {key: base64.b64decode(data) for key, data in held["objects"].items()}


def load(url: str, objects: LocalObjects, scratch: Path) -> None:
    """Put it into an empty database and store, as if it had been left ten minutes ago."""
    file = scratch / "version_0009.db"
    if url.startswith("sqlite"):
        file = Path(url.removeprefix("sqlite:///"))
    with sqlite3.connect(file) as connection:
        connection.executescript(gzip.decompress((DATA / "database.sql.gz").read_bytes()).decode())
    _bring_forward(file)
    if not url.startswith("sqlite"):
        migrate_url(url, REVISION)
        _copy(file, url)
    for key, data in dumped()[1].items():
        objects.put_bytes(key, data, "application/octet-stream")


def _bring_forward(file: Path) -> None:
    """Move all times by as much, so that nothing has expired since."""
    connection = sqlite3.connect(file)
    tables = connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")
    names = [row[0] for row in tables]
    newest = connection.execute("SELECT max(created_at) FROM idempotent_replies").fetchone()[0]
    left = datetime.now(UTC).replace(tzinfo=None) - timedelta(minutes=10)
    moved = left - datetime.strptime(newest, _FORM)
    for name in names:
        columns = [row[1] for row in connection.execute(f"PRAGMA table_info({name})")]
        for rowid, *values in connection.execute(f"SELECT rowid, * FROM {name}").fetchall():
            for column, value in zip(columns, values, strict=True):
                if isinstance(value, str) and _MOMENT.fullmatch(value):
                    later = (datetime.strptime(value, _FORM) + moved).strftime(_FORM)
                    connection.execute(
                        f"UPDATE {name} SET {column} = ? WHERE rowid = ?", (later, rowid)
                    )
    connection.commit()
    connection.close()


def _copy(file: Path, url: str) -> None:
    """Copy every row into a database of another kind that is at the same revision."""
    old, new = sqlite3.connect(file), create_engine(url)
    old.row_factory = sqlite3.Row
    known = MetaData()
    known.reflect(new)
    with new.begin() as connection:
        for table in known.sorted_tables:
            if table.name == "alembic_version":
                continue
            connection.execute(table.delete())  # what the migrations themselves enter
        for table in known.sorted_tables:
            if table.name == "alembic_version":
                continue
            for row in old.execute(f"SELECT * FROM {table.name}"):
                values = {}
                for name in row.keys():  # noqa: SIM118 - a sqlite3.Row iterates over values
                    value, kind = row[name], table.c[name].type
                    if value is not None and isinstance(kind, DateTime):
                        value = datetime.strptime(value, _FORM).replace(tzinfo=UTC)
                    elif value is not None and isinstance(kind, JSON):
                        value = json.loads(value)
                    elif value is not None and isinstance(kind, Boolean):
                        value = bool(value)
                    values[name] = value
                connection.execute(table.insert().values(values))
    new.dispose()
    old.close()
