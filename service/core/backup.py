"""A backup of the installation in one file: every row of the database and every object.

A tar archive: ``manifest.json``, ``rows/TABLE.jsonl``, ``objects/KEY``, and at the end
``objects.jsonl`` with the size and SHA-256 of each. Rows are of one moment; objects are immutable,
so that those the rows name are whole. Redis holds nothing that the database does not tell again.
"""

from __future__ import annotations

import base64
import hashlib
import io
import json
import os
import tarfile
import tempfile
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, BinaryIO

from sqlalchemy import JSON, Connection, MetaData, select

from service.core.database import Database, revision_present
from service.core.objects import ObjectInfo, ObjectMissing, Objects

FORMAT = 1
"""Version of the archive's form."""
MANIFEST, CHECKS = "manifest.json", "objects.jsonl"
ROWS, FILES = "rows/", "objects/"
BATCH = 500
"""Rows that are read or written at a time."""
_PIECE = 1 << 20
"""Bytes that are copied at a time."""
ALEMBIC = "alembic_version"
"""The table that tells the revision; the manifest tells it in a backup."""


@dataclass(frozen=True, slots=True)
class Contents:
    """What a backup holds, or what was restored of it."""

    revision: str
    rows: int
    files: int
    bytes: int


def plain(value: Any) -> Any:
    """Return a value of a row as JSON can hold it."""
    if isinstance(value, datetime):
        value = value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)
        return {"time": value.isoformat()}
    if isinstance(value, bytes):
        return {"bytes": base64.b64encode(value).decode()}
    if isinstance(value, dict | list):
        return {"json": value}
    return value


def tables_of(connection: Connection) -> MetaData:
    """Return the tables as the database has them, whatever the code knows."""
    metadata = MetaData()
    metadata.reflect(connection, only=lambda name, _: name != ALEMBIC)
    for table in metadata.tables.values():
        for column in table.columns:
            if isinstance(column.type, JSON):
                column.type.none_as_null = True  # as the service writes them
    return metadata


def write_backup(database: Database, objects: Objects, path: Path) -> Contents:
    """Write a backup; an unfinished one leaves nothing. The file is for its owner alone.

    Raises
    ------
    FileExistsError
        There is a file of that name.
    """
    if path.exists():
        raise FileExistsError(path)
    descriptor, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}-")
    try:
        with os.fdopen(descriptor, "wb") as raw:
            with tarfile.open(fileobj=raw, mode="w", format=tarfile.PAX_FORMAT) as archive:
                contents = _fill(archive, database, objects)
            raw.flush()
            os.fsync(raw.fileno())
        os.link(name, path)  # unlike a rename, it overwrites nothing
    finally:
        with suppress(FileNotFoundError):
            os.unlink(name)
    return contents


def _fill(archive: tarfile.TarFile, database: Database, objects: Objects) -> Contents:
    revision = revision_present(database)
    assert revision is not None
    with tempfile.TemporaryDirectory(prefix="servewright-backup-") as folder:
        counts = _rows_aside(database, Path(folder))
        manifest = {
            "format": FORMAT,
            "revision": revision,
            "made_at": datetime.now(UTC).isoformat(),
            "rows": counts,
        }
        _add_bytes(archive, MANIFEST, json.dumps(manifest, indent=1).encode())
        for table in counts:
            with (Path(folder) / table).open("rb") as rows:
                size = os.fstat(rows.fileno()).st_size
                _add(archive, f"{ROWS}{table}.jsonl", size, rows)
    checks = [check for info in objects.list() if (check := _add_object(archive, objects, info))]
    lines = "".join(json.dumps(check) + "\n" for check in checks)
    _add_bytes(archive, CHECKS, lines.encode())
    size = sum(check["bytes"] for check in checks)
    return Contents(revision, sum(counts.values()), len(checks), size)


def _rows_aside(database: Database, folder: Path) -> dict[str, int]:
    """Write the rows of all tables, as of one moment, into a file each; return their numbers."""
    counts: dict[str, int] = {}
    engine = database.engine
    if not database.is_sqlite:  # there a transaction that reads sees one moment anyway
        engine = engine.execution_options(isolation_level="REPEATABLE READ")
    with engine.connect() as connection:
        for table in tables_of(connection).sorted_tables:
            found = connection.execution_options(yield_per=BATCH).execute(select(table))
            with (folder / table.name).open("w", encoding="utf-8") as file:
                counts[table.name] = 0
                for row in found.mappings():
                    values = {name: plain(value) for name, value in row.items()}
                    file.write(json.dumps(values, ensure_ascii=False) + "\n")
                    counts[table.name] += 1
    return counts


def _add_object(
    archive: tarfile.TarFile, objects: Objects, info: ObjectInfo
) -> dict[str, Any] | None:
    """Add an object; None when it was erased since it was listed."""
    try:
        stream = objects.open(info.key)
    except ObjectMissing:
        return None
    digest = hashlib.sha256()
    with stream:
        _add(archive, FILES + info.key, info.size_bytes, _Hashed(stream, digest))
    return {"key": info.key, "bytes": info.size_bytes, "sha256": digest.hexdigest()}


class _Hashed(io.RawIOBase):
    """A stream that is hashed as it is read."""

    def __init__(self, stream: BinaryIO, digest: Any) -> None:
        self._stream = stream
        self._digest = digest

    def readable(self) -> bool:
        return True

    def read(self, size: int = -1, /) -> bytes:
        data = self._stream.read(size)
        self._digest.update(data)
        return data


def _add(archive: tarfile.TarFile, name: str, size: int, stream: Any) -> None:
    entry = tarfile.TarInfo(name)
    entry.size, entry.mode = size, 0o600
    archive.addfile(entry, stream)


def _add_bytes(archive: tarfile.TarFile, name: str, data: bytes) -> None:
    _add(archive, name, len(data), io.BytesIO(data))


def pieces(stream: BinaryIO) -> Iterator[bytes]:
    """Yield what a stream holds."""
    while piece := stream.read(_PIECE):
        yield piece
