"""Everything about one player as one archive (zip), written while it is sent.

``player.json`` and a JSON file a kind of row, then the films (or files of joints) and every result
file as they are stored; ``manifest.json`` at the end lists each with size and SHA-256, and what the
store no longer had. Secrets and digests of links and keys are left out.
"""

from __future__ import annotations

import hashlib
import io
import json
import zipfile
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import ColumnElement, or_, select
from sqlalchemy.orm import Session

from models.contract.vocabulary import WorkKind
from service.core.account_tables import AuditEntry
from service.core.database import Database
from service.core.kinds import KINDS
from service.core.objects import ObjectMissing, Objects
from service.core.players import find_player
from service.core.principal import Principal
from service.core.reach import EVERYTHING
from service.core.table_base import Base
from service.core.tables import (
    Clip,
    Consent,
    FilmedSession,
    IntakeLink,
    Player,
    ResumableUpload,
    ShareLink,
    Voice,
    Work,
)

FORMAT = 1
"""Version of the archive's form."""
MANIFEST = "manifest.json"
_PIECE = 256 * 1024
"""Bytes that are read at a time."""
_UNTOLD = frozenset({"digest", "lease_holder", "lease_until", "traceparent", "object_key"})
"""Columns that are of the service, not of the player."""
_ENDINGS = {
    "video/mp4": ".mp4",
    "video/quicktime": ".mov",
    "video/webm": ".webm",
    "video/x-matroska": ".mkv",
    "audio/mp4": ".m4a",
    "audio/webm": ".webm",
    "audio/ogg": ".ogg",
    "audio/mpeg": ".mp3",
    "audio/wav": ".wav",
}

_PACKED = (".mp4", ".mov", ".webm", ".mkv", ".jpg", ".npz", ".m4a", ".ogg", ".mp3")
"""Endings of files that are packed already."""


@dataclass(frozen=True, slots=True)
class StoredPart:
    """A file of the archive that lies in the object store."""

    name: str
    key: str


@dataclass(frozen=True, slots=True)
class PlayerContents:
    """What the archive will hold: rows as JSON by file name, and files."""

    rows: dict[str, Any]
    files: tuple[StoredPart, ...]


class PlayerExport:
    """Collects what there is of a player, and writes it."""

    def __init__(self, database: Database, objects: Objects) -> None:
        self._database = database
        self._objects = objects

    def contents(self, principal: Principal, player_id: str) -> PlayerContents:
        """Return what there is, as of one moment.

        Raises
        ------
        NotFound
            There is no such player.
        """
        with self._database.read() as session:
            find_player(session, principal, player_id)
        with self._database.read(EVERYTHING) as session:  # what names the player, whoever asks
            return _collected(session, self._database.now(session), player_id)

    def written(self, contents: PlayerContents) -> Iterator[bytes]:
        """Yield the archive piece by piece, in constant memory."""
        sink = _Sink()
        listed: list[dict[str, Any]] = []
        missing: list[str] = []
        with zipfile.ZipFile(sink, "w") as archive:
            for name, rows in contents.rows.items():
                text = json.dumps(rows, indent=2, ensure_ascii=False).encode()
                yield from self._added(archive, sink, listed, name, (text,))
            for part in contents.files:
                try:
                    stream = self._objects.open(part.key)
                except ObjectMissing:
                    missing.append(part.name)
                    continue
                with stream:
                    pieces = iter(lambda: stream.read(_PIECE), b"")  # noqa: B023 (read at once)
                    yield from self._added(archive, sink, listed, part.name, pieces)
            manifest = {"format": FORMAT, "files": listed, "missing": missing}
            text = json.dumps(manifest, indent=2).encode()
            yield from self._added(archive, sink, [], MANIFEST, (text,))
        yield sink.taken()

    @staticmethod
    def _added(
        archive: zipfile.ZipFile,
        sink: _Sink,
        listed: list[dict[str, Any]],
        name: str,
        pieces: Iterable[bytes],
    ) -> Iterator[bytes]:
        info = zipfile.ZipInfo(name, datetime.now(UTC).timetuple()[:6])
        packed = not name.endswith(_PACKED)
        info.compress_type = zipfile.ZIP_DEFLATED if packed else zipfile.ZIP_STORED
        info.external_attr = 0o600 << 16
        digest, size = hashlib.sha256(), 0
        with archive.open(info, "w", force_zip64=True) as target:
            for piece in pieces:
                digest.update(piece)
                size += len(piece)
                target.write(piece)
                yield sink.taken()
        listed.append({"name": name, "size_bytes": size, "sha256": digest.hexdigest()})


def _collected(session: Session, now: datetime, player_id: str) -> PlayerContents:
    sessions = select(FilmedSession.id).where(FilmedSession.player_id == player_id)
    clips = select(Clip.id).where(Clip.session_id.in_(sessions))
    of_player = or_(
        Work.player_id == player_id, Work.clip_id.in_(clips), Work.same_serve_id.in_(clips)
    )
    works = select(Work.id).where(of_player)
    conditions: dict[str, tuple[type[Base], ColumnElement[bool]]] = {
        "player": (Player, Player.id == player_id),
        "sessions": (FilmedSession, FilmedSession.player_id == player_id),
        "consents": (Consent, Consent.player_id == player_id),
        "clips": (Clip, Clip.session_id.in_(sessions)),
        "work": (Work, of_player),
        "voices": (Voice, Voice.player_id == player_id),
        "uploads": (ResumableUpload, ResumableUpload.player_id == player_id),
        "intake_links": (IntakeLink, IntakeLink.player_id == player_id),
        "share_links": (ShareLink, ShareLink.work_id.in_(works)),
        "audit": (AuditEntry, AuditEntry.player_id == player_id),
    }
    rows: dict[str, Any] = {"about.json": {"player_id": player_id, "made_at": now.isoformat()}}
    files: list[StoredPart] = []
    for name, (table, condition) in conditions.items():
        found = session.scalars(select(table).where(condition)).all()
        rows[f"{name}.json"] = [_plain(row) for row in found]
        for row in found:
            if isinstance(row, Clip) and row.state == "ready" and row.film_removed_at is None:
                ending = _ENDINGS.get(row.media_type, "")
                files.append(StoredPart(f"films/{row.id}{ending}", row.object_key))
            if isinstance(row, Voice):
                ending = _ENDINGS[row.media_type]
                files.append(StoredPart(f"voices/{row.id}{ending}", row.object_key))
            if isinstance(row, Work):
                folder = KINDS[WorkKind(row.kind)].folder
                for one in row.artifacts.values():
                    below = one["key"].split(f"/{row.id}/", 1)[1]  # the attempt and the file
                    files.append(StoredPart(f"{folder}/{row.id}/{below}", one["key"]))
    return PlayerContents(rows, tuple(files))


def _plain(row: Base) -> dict[str, Any]:
    """Return the columns of a row as JSON can hold them."""
    found = {}
    for column in row.__table__.columns:
        if column.name in _UNTOLD:
            continue
        value = getattr(row, column.name)
        if isinstance(value, datetime):
            value = value.isoformat()
        if column.name == "artifacts":
            value = {
                name: {key: fact for key, fact in one.items() if key != "key"}
                for name, one in value.items()
            }
        found[column.name] = value
    return found


class _Sink(io.RawIOBase):
    """Takes what a zip archive writes; without a position, as a connection has none."""

    def __init__(self) -> None:
        self._held: list[bytes] = []

    def writable(self) -> bool:
        return True

    def write(self, data: Any) -> int:
        self._held.append(bytes(data))
        return len(data)

    def taken(self) -> bytes:
        """Return what was written since the last time."""
        found = b"".join(self._held)
        self._held.clear()
        return found
