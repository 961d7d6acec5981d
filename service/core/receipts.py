"""Receipts of erasures: how far each is, kept for a year."""

from __future__ import annotations

from datetime import timedelta

from sqlalchemy import delete, exists, select, update

from models.contract.errors import NotFound
from service.core.database import Database
from service.core.principal import Principal
from service.core.reach import EVERYTHING
from service.core.tables import Erasure, ErasureReceipt
from service.core.vacuum import vacuum

KEPT = timedelta(days=365)
"""How long a receipt is kept (working value: proof is asked for within a year)."""


class Receipts:
    """Notes what has been done for each erasure.

    Parameters
    ----------
    vacuum_s : float
        Shortest time between two rounds in which PostgreSQL writes its tables anew, seconds.
    """

    def __init__(self, database: Database, vacuum_s: float) -> None:
        self._database = database
        self._vacuum_s = vacuum_s

    def get(self, principal: Principal, erasure_id: str) -> ErasureReceipt:
        """Return an erasure of this tenant, or raise ``NotFound``."""
        with self._database.read() as session:
            row = session.scalars(
                select(ErasureReceipt).where(
                    ErasureReceipt.id == erasure_id,
                    ErasureReceipt.tenant_id == principal.tenant_id,
                )
            ).one_or_none()
        if row is None:
            raise NotFound()
        return row

    def count_files(self, erasure_id: str, files: int, *, all_gone: bool) -> None:
        """Add files that were removed; note when none are left."""
        with self._database.write(EVERYTHING) as session:
            row = session.get(ErasureReceipt, erasure_id)
            if row is None:
                return
            row.files += files
            if all_gone and row.files_erased_at is None:
                row.files_erased_at = self._database.now(session)

    def clean_database(self) -> None:
        """Have the database overwrite erased rows, and note for which erasures it has."""
        with self._database.read(EVERYTHING) as session:
            waiting = list(
                session.scalars(
                    select(ErasureReceipt.id).where(ErasureReceipt.database_cleaned_at.is_(None))
                )
            )
        if not waiting:
            return
        database = self._database
        if not (database.checkpoint() if database.is_sqlite else vacuum(database, self._vacuum_s)):
            return
        with self._database.write(EVERYTHING) as session:
            session.execute(
                update(ErasureReceipt)
                .where(ErasureReceipt.id.in_(waiting))
                .values(database_cleaned_at=self._database.now(session))
            )

    def close(self) -> None:
        """Note what is completed, and forget receipts that are past their time."""
        with self._database.write(EVERYTHING) as session:
            now = self._database.now(session)
            session.execute(
                update(ErasureReceipt)
                .where(
                    ErasureReceipt.completed_at.is_(None),
                    ErasureReceipt.files_erased_at.is_not(None),
                    ErasureReceipt.database_cleaned_at.is_not(None),
                    ~exists().where(Erasure.receipt_id == ErasureReceipt.id),
                )
                .values(completed_at=now)
            )
            session.execute(delete(ErasureReceipt).where(ErasureReceipt.created_at < now - KEPT))
