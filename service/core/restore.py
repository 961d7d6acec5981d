"""Puts a backup back into an empty installation, and brings it to the present version."""

from __future__ import annotations

import base64
import hashlib
import json
import tarfile
from contextlib import ExitStack
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, BinaryIO

from sqlalchemy import Connection, func, insert, select

from models.contract.errors import InvalidRequest
from service.core.backup import (
    BATCH,
    CHECKS,
    FILES,
    FORMAT,
    MANIFEST,
    ROWS,
    Contents,
    pieces,
    tables_of,
)
from service.core.database import Database, migrate_url, revision_present
from service.core.objects import Objects

MADE_BY_MIGRATION = {"organisations", "secrets", "locks"}
"""Tables that are not empty in an empty installation: its first organisation, its own secrets."""
_MANY = {"organisations": 1}
"""Rows that a migration makes; more of them are somebody's."""


class Restorer:
    """Restores one backup.

    Parameters
    ----------
    address : str
        URL of the database; it may have no tables yet.
    """

    def __init__(self, address: str, objects: Objects) -> None:
        self._address = address
        self._objects = objects

    def restore(self, path: Path) -> Contents:
        """Restore a backup: objects first, then all rows in one transaction, then migrations.

        What fails half-way leaves no row and no object.

        Raises
        ------
        InvalidRequest
            The file is no whole backup, or the installation is not empty. It says which.
        """
        try:
            with tarfile.open(path, "r:") as archive:
                return self._restore(archive)
        except (tarfile.TarError, EOFError, KeyError, ValueError, UnicodeDecodeError) as error:
            raise InvalidRequest(
                f"{path} is no whole backup of this service ({type(error).__name__}). Take another."
            ) from error

    def _restore(self, archive: tarfile.TarFile) -> Contents:
        manifest = json.load(_file(archive, MANIFEST))
        if manifest["format"] != FORMAT:
            raise InvalidRequest(
                f"The backup has form {manifest['format']}; this version reads form {FORMAT}."
            )
        checks = [json.loads(line) for line in _file(archive, CHECKS)]
        revision = str(manifest["revision"])
        if any(True for _ in self._objects.list()):
            raise InvalidRequest("The object store is not empty. Restore into a new one.")
        database = Database(self._address)
        try:
            self._make_tables(database, revision)
            with ExitStack() as undo:
                undo.callback(self._remove, [check["key"] for check in checks])
                for check in checks:
                    self._put(archive, check)
                with database.engine.begin() as connection:
                    rows = _put_rows(connection, archive, manifest["rows"])
                undo.pop_all()
        finally:
            database.close()
        migrate_url(self._address)
        return Contents(revision, rows, len(checks), sum(check["bytes"] for check in checks))

    def _make_tables(self, database: Database, revision: str) -> None:
        """Bring an empty database to the revision that the rows are of."""
        present = revision_present(database)
        if present is not None:
            with database.engine.connect() as connection:
                _check_empty(connection)
        if present not in (None, revision):
            raise InvalidRequest(
                f"The database is at revision {present}, the backup at {revision}. Restore into a "
                "database without tables; it is brought to the present version afterwards."
            )
        migrate_url(self._address, revision)

    def _put(self, archive: tarfile.TarFile, check: dict[str, Any]) -> None:
        upload = self._objects.upload(check["key"], "application/octet-stream")
        digest = hashlib.sha256()
        try:
            with _file(archive, FILES + check["key"]) as stream:
                for piece in pieces(stream):
                    digest.update(piece)
                    upload.write(piece)
            if digest.hexdigest() != check["sha256"]:
                raise ValueError(check["key"])
            upload.commit()
        finally:
            upload.abort()

    def _remove(self, keys: list[str]) -> None:
        for key in keys:
            self._objects.delete(key)


def _file(archive: tarfile.TarFile, name: str) -> BinaryIO:
    found = archive.extractfile(name)
    if found is None:
        raise KeyError(name)
    return found  # type: ignore[return-value]


def _check_empty(connection: Connection) -> None:
    for table in tables_of(connection).sorted_tables:
        count = connection.execute(select(func.count()).select_from(table)).scalar_one()
        if count > _MANY.get(table.name, 0) and table.name not in MADE_BY_MIGRATION - set(_MANY):
            raise InvalidRequest(
                f"The database is not empty ({count} rows in {table.name}). Restore into a new one."
            )


def _put_rows(connection: Connection, archive: tarfile.TarFile, counts: dict[str, int]) -> int:
    metadata, dialect = tables_of(connection), connection.dialect.name
    for table in reversed(metadata.sorted_tables):
        connection.execute(table.delete())
    total = 0
    for table in metadata.sorted_tables:
        found = 0
        batch: list[dict[str, Any]] = []
        for line in _file(archive, f"{ROWS}{table.name}.jsonl"):
            values: dict[str, Any] = json.loads(line)
            batch.append({name: _value(value, dialect) for name, value in values.items()})
            found += 1
            if len(batch) == BATCH:
                connection.execute(insert(table), batch)
                batch = []
        if batch:
            connection.execute(insert(table), batch)
        if found != counts[table.name]:
            raise ValueError(table.name)
        total += found
    return total


def _value(value: Any, dialect: str) -> Any:
    """Return a value as the driver wants it; see :func:`service.core.backup.plain`."""
    if not isinstance(value, dict):
        return value
    ((kind, held),) = value.items()
    if kind == "time":
        moment = datetime.fromisoformat(held)
        return moment.astimezone(UTC).replace(tzinfo=None) if dialect == "sqlite" else moment
    if kind == "bytes":
        return base64.b64decode(held)
    return held
