"""Secrets of the installation itself, made at first need and shared by all its processes."""

from __future__ import annotations

import hashlib
import secrets

from sqlalchemy.exc import IntegrityError

from service.core.database import Database
from service.core.settings import Settings
from service.core.tables import Secret

MARK_DIGITS = 12
"""Hexadecimal digits by which queues of installations differ."""


def installation_secret(database: Database, name: str) -> bytes:
    """Return the 32-byte secret of that name, making it when there is none."""
    for _ in range(2):
        with database.read() as session:
            row = session.get(Secret, name)
        if row is not None:
            return bytes.fromhex(row.value)
        try:
            with database.write() as session:
                session.add(Secret(name=name, value=secrets.token_hex(32)))
        except IntegrityError:  # another process made it at the same moment
            continue
    with database.read() as session:
        return bytes.fromhex(session.get_one(Secret, name).value)


def queue_name_of(settings: Settings, database: Database) -> str:
    """Return the name of this installation's queue.

    Unless the settings name it, it bears a mark of the database: two installations on one Redis
    server must not take each other's work.
    """
    if settings.queue_name is not None:
        return settings.queue_name
    mark = hashlib.sha256(installation_secret(database, "queue")).hexdigest()[:MARK_DIGITS]
    return f"analyses-{mark}"
