"""Secrets of the installation itself, made at first need and shared by all its processes."""

from __future__ import annotations

import secrets

from sqlalchemy.exc import IntegrityError

from service.core.database import Database
from service.core.tables import Secret


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
