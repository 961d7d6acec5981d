"""Makes the queue agree with the database: finds work that was lost and hands it out again.

Any process may run it; a lock row elects one. Its actions are safe when two run at once, because
each is decided again under the row lock.
"""

from __future__ import annotations

import logging
from contextlib import suppress
from dataclasses import dataclass
from datetime import timedelta

from sqlalchemy import delete

from models.contract.errors import Erased, ObjectStoreUnavailable, QueueUnavailable
from models.contract.vocabulary import AnalysisStatus
from service.core import lifecycle
from service.core.arrivals import Arrivals
from service.core.database import Database
from service.core.delivery_log import forget_tries
from service.core.direct import forget_announced
from service.core.intake_links import IntakeLinks
from service.core.keeping import Keeping
from service.core.orphans import OrphanSweep
from service.core.queue import WorkQueue, attempt_at
from service.core.resumable import ResumableUploads
from service.core.retention import RetentionReminder
from service.core.sweep import ErasureSweep
from service.core.tables import IdempotentReply
from service.core.work import WorkStore

logger = logging.getLogger(__name__)
LOCK = "reconciler"


@dataclass(frozen=True, slots=True)
class Report:
    """What one round did."""

    requeued: int = 0
    enqueued_again: int = 0
    given_up: int = 0
    swept: int = 0
    reminded: int = 0


class Reconciler:
    """One round of reconciliation at a time."""

    def __init__(
        self,
        database: Database,
        work: WorkStore,
        queue: WorkQueue,
        *,
        erasures: ErasureSweep,
        reminder: RetentionReminder,
        orphans: OrphanSweep,
        keeping: Keeping,
        uploads: ResumableUploads,
        arrivals: Arrivals,
        intake_links: IntakeLinks,
        holder: str,
        interval_s: float,
        idempotency_ttl_h: float,
        webhook_log_days: float = 30.0,
        announced_ttl_s: float,
    ) -> None:
        self._database = database
        self._work = work
        self._reminder = reminder
        self._orphans = orphans
        self._keeping = keeping
        self._uploads = uploads
        self._arrivals = arrivals
        self._intake_links = intake_links
        self._queue = queue
        self._erasures = erasures
        self._holder = holder
        self._interval = interval_s
        self._reply_ttl = timedelta(hours=idempotency_ttl_h)
        self._log_kept = timedelta(days=webhook_log_days)
        self._announced_ttl = timedelta(seconds=announced_ttl_s)

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
        unfinished = self._work.unfinished()
        # Looked up one by one, a long queue would take the square of its length.
        waiting = self._waiting()
        for work_id, state in unfinished:
            in_queue = self._in_queue(work_id, state, waiting)
            decision = lifecycle.recover(state, now, self._work.policy, in_queue)
            if isinstance(decision, lifecycle.Leave):
                continue
            try:
                decision = self._work.recover(work_id, in_queue)
            except Erased:
                continue
            if isinstance(decision, lifecycle.GiveUp):
                given_up += 1
                logger.warning("%s given up after %d crashes", work_id, decision.crashes)
            elif isinstance(decision, lifecycle.Requeue):
                requeued += 1
                logger.warning("%s: lease lapsed, next attempt", work_id)
                self._enqueue(work_id, decision.attempt)
            elif isinstance(decision, lifecycle.EnqueueAgain):
                again += 1
                logger.warning("%s: lost by the queue, sent again", work_id)
                self._enqueue(work_id, decision.attempt)
        return Report(requeued, again, given_up, self._sweep(), self._reminder.run_once())

    def _waiting(self) -> frozenset[str]:
        try:
            return self._queue.waiting()
        except QueueUnavailable:
            return frozenset()

    def _in_queue(
        self, work_id: str, state: lifecycle.State, waiting: frozenset[str]
    ) -> bool | None:
        if state.status is not AnalysisStatus.QUEUED:
            return None
        if attempt_at(work_id, state.attempt).job_id in waiting:
            return True
        try:
            return self._queue.is_known(work_id, state.attempt)
        except QueueUnavailable:
            return None

    def _enqueue(self, work_id: str, attempt: int) -> None:
        try:
            self._queue.enqueue(work_id, attempt)
        except QueueUnavailable:  # a later round finds it queued and unknown
            logger.warning("queue unavailable; %s stays queued", work_id)

    def _sweep(self) -> int:
        """Remove what late jobs wrote for what was erased, and what is past its time."""
        forget_announced(self._database, self._announced_ttl)
        self._uploads.forget_abandoned()
        self._intake_links.forget_unused()
        self._keeping.run_if_due()
        swept = self._erasures.run_once()
        with self._database.write() as session:
            now = self._database.now(session)
            session.execute(
                delete(IdempotentReply).where(IdempotentReply.created_at < now - self._reply_ttl)
            )
            forget_tries(session, now - self._log_kept)
        with suppress(ObjectStoreUnavailable):
            self._arrivals.finish_left()
            swept += self._orphans.run_if_due()
        return swept
