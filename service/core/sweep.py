"""What remains of erasures: late files of running jobs, rows in the database's files, receipts."""

from __future__ import annotations

from collections import Counter

from sqlalchemy import delete, select

from models.contract.errors import ObjectStoreUnavailable
from service.core.database import Database
from service.core.objects import ObjectMissing, Objects
from service.core.receipts import Receipts
from service.core.tables import Erasure


class ErasureSweep:
    """One round at a time, again and again until no job can still be writing."""

    def __init__(self, database: Database, objects: Objects, receipts: Receipts) -> None:
        self._database = database
        self._objects = objects
        self._receipts = receipts

    def run_once(self) -> int:
        """Remove what is left of what was erased; return how many files that were."""
        with self._database.read() as session:
            now = self._database.now(session)
            pending = session.scalars(select(Erasure)).all()
        removed: Counter[str | None] = Counter()
        held_up: set[str | None] = set()
        for erasure in pending:
            try:
                removed[erasure.receipt_id] += self._objects.delete_prefix(erasure.prefix)
                removed[erasure.receipt_id] += self._one(erasure.prefix)
            except ObjectStoreUnavailable:
                held_up.add(erasure.receipt_id)
                continue
            if erasure.sweep_until <= now:
                with self._database.write() as session:
                    session.execute(delete(Erasure).where(Erasure.prefix == erasure.prefix))
        for receipt_id, files in removed.items():
            if receipt_id is not None:
                self._receipts.count_files(receipt_id, files, all_gone=receipt_id not in held_up)
        self._receipts.clean_database()
        self._receipts.close()
        return sum(removed.values())

    def _one(self, key: str) -> int:
        """Remove the object of this very key; return how many that were."""
        try:
            self._objects.stat(key)
        except ObjectMissing:
            return 0
        self._objects.delete(key)
        return 1
