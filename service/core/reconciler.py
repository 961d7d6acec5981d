"""Makes the queue agree with the database: finds work that was lost and hands it out again.

Any process may run it; a lock row elects one. Its actions are safe when two run at once, because
each is decided again under the row lock.
"""

from __future__ import annotations

import logging
from dataclasses import dataclass
from datetime import timedelta

from sqlalchemy import delete, select

from models.contract.errors import Erased, ObjectStoreUnavailable, QueueUnavailable
from models.contract.vocabulary import AnalysisStatus
from service.core import lifecycle
from service.core.analyses import AnalysisStore
from service.core.database import Database
from service.core.objects import Objects
from service.core.queue import WorkQueue
from service.core.tables import Erasure, IdempotentReply

logger = logging.getLogger(__name__)
LOCK = "reconciler"


@dataclass(frozen=True, slots=True)
class Report:
    """What one round did."""

    requeued: int = 0
    enqueued_again: int = 0
    given_up: int = 0
    swept: int = 0


class Reconciler:
    """One round of reconciliation at a time."""

    def __init__(
        self,
        database: Database,
        analyses: AnalysisStore,
        queue: WorkQueue,
        objects: Objects,
        *,
        holder: str,
        interval_s: float,
        idempotency_ttl_h: float,
    ) -> None:
        self._database = database
        self._analyses = analyses
        self._queue = queue
        self._objects = objects
        self._holder = holder
        self._interval = interval_s
        self._reply_ttl = timedelta(hours=idempotency_ttl_h)

    def run_if_elected(self) -> Report | None:
        """Run a round when this process holds the lock."""
        if not self._database.take_lock(LOCK, self._holder, self._interval * 3):
            return None
        return self.run_once()

    def run_once(self) -> Report:
        """Look at everything unfinished and act on it."""
        requeued = again = given_up = 0
        with self._database.read() as session:
            now = self._database.now(session)
        for analysis_id, state in self._analyses.unfinished():
            in_queue = self._in_queue(analysis_id, state)
            decision = lifecycle.recover(state, now, self._analyses.policy, in_queue)
            if isinstance(decision, lifecycle.Leave):
                continue
            try:
                decision = self._analyses.recover(analysis_id, in_queue)
            except Erased:
                continue
            if isinstance(decision, lifecycle.GiveUp):
                given_up += 1
                logger.warning(
                    "analysis %s given up after %d crashes", analysis_id, decision.crashes
                )
            elif isinstance(decision, lifecycle.Requeue):
                requeued += 1
                logger.warning("analysis %s: lease lapsed, next attempt", analysis_id)
                self._enqueue(analysis_id, decision.attempt)
            elif isinstance(decision, lifecycle.EnqueueAgain):
                again += 1
                logger.warning("analysis %s: lost by the queue, sent again", analysis_id)
                self._enqueue(analysis_id, decision.attempt)
        return Report(requeued, again, given_up, self._sweep())

    def _in_queue(self, analysis_id: str, state: lifecycle.State) -> bool | None:
        if state.status is not AnalysisStatus.QUEUED:
            return None
        try:
            return self._queue.is_known(analysis_id, state.attempt)
        except QueueUnavailable:
            return None

    def _enqueue(self, analysis_id: str, attempt: int) -> None:
        try:
            self._queue.enqueue(analysis_id, attempt)
        except QueueUnavailable:  # a later round finds it queued and unknown
            logger.warning("queue unavailable; analysis %s stays queued", analysis_id)

    def _sweep(self) -> int:
        """Remove what late jobs wrote for erased clips, and replies past their time."""
        with self._database.read() as session:
            now = self._database.now(session)
            pending = session.scalars(select(Erasure)).all()
        swept = 0
        if pending:  # a reader may have held up the one after the erasure
            self._database.checkpoint()
        for erasure in pending:
            try:
                swept += self._objects.delete_prefix(erasure.prefix)
            except ObjectStoreUnavailable:
                continue
            if erasure.sweep_until <= now:
                with self._database.write() as session:
                    session.execute(delete(Erasure).where(Erasure.prefix == erasure.prefix))
        with self._database.write() as session:
            session.execute(
                delete(IdempotentReply).where(IdempotentReply.created_at < now - self._reply_ttl)
            )
        return swept
