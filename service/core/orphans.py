"""Films, parts of films and voice messages that no row knows of: what a crash left on the way from
an upload to its row.
"""

from __future__ import annotations

import secrets
from collections.abc import Callable
from datetime import datetime, timedelta
from itertools import chain

from sqlalchemy import select

from service.core.database import Database
from service.core.identifiers import is_id, made_at
from service.core.object_keys import (
    TENANTS,
    clip_root,
    owner_of,
    tenant_root,
    upload_root,
    voice_root,
)
from service.core.objects import Objects
from service.core.tables import Clip, ResumableUpload, Voice

LOCK = "orphans"
AGE = timedelta(hours=24)
"""No upload takes so long."""
INTERVAL_S = 6 * 3600.0
"""Seconds between two sweeps."""
BATCH = 500
"""Films that are looked up at a time."""


class OrphanSweep:
    """Removes films that nobody could erase, since no clip names them."""

    def __init__(self, database: Database, objects: Objects) -> None:
        self._database = database
        self._objects = objects

    def run_if_due(self) -> int:
        """Sweep, unless some process did so in the last hours; return how much was removed."""
        if not self._database.take_lock(LOCK, secrets.token_hex(8), INTERVAL_S):
            return 0
        return self.run_once()

    def run_once(self) -> int:
        """Remove unfinished uploads and films without a row, both older than a day."""
        with self._database.read() as session:
            limit = self._database.now(session) - AGE
        removed = self._objects.drop_unfinished(limit)
        for folder, prefix, table, root in (
            ("clips", "clip", Clip, clip_root),
            ("uploads", "upl", ResumableUpload, upload_root),
            ("voices", "voc", Voice, voice_root),
        ):
            removed += self._sweep(folder, prefix, table, root, limit)
        return removed

    def _sweep(
        self,
        folder: str,
        prefix: str,
        table: type[Clip] | type[ResumableUpload] | type[Voice],
        root: Callable[[str, str], str],
        limit: datetime,
    ) -> int:
        old: dict[str, str] = {}
        for info in chain(self._objects.list(folder), self._objects.list(TENANTS)):
            whose = owner_of(info.key)
            found, _, below = info.key.removeprefix(tenant_root(whose)).partition("/")
            row_id = below.partition("/")[0]
            if found == folder and is_id(row_id, prefix) and made_at(row_id) < limit:
                old[row_id] = root(whose, row_id)
        removed = 0
        for start in range(0, len(old), BATCH):
            batch = list(old)[start : start + BATCH]
            with self._database.read() as session:
                known = set(session.scalars(select(table.id).where(table.id.in_(batch))))
            for row_id in batch:
                if row_id not in known:
                    removed += self._objects.delete_prefix(old[row_id])
        return removed
