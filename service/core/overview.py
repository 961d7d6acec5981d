"""What goes on in the installation: queues, workers, leases, webhooks, erasures.

Counts and ids only; nothing of what organisations hold.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from redis.exceptions import RedisError
from rq.utils import str_to_date
from sqlalchemy import func, select

from models.contract.errors import QueueUnavailable
from models.contract.vocabulary import AnalysisStatus, WorkKind
from service.core.database import Database
from service.core.kinds import KINDS, Lane
from service.core.queue import WorkQueue
from service.core.reach import EVERYTHING
from service.core.tables import Delivery, ErasureReceipt, WebhookEndpoint, Work


@dataclass(frozen=True, slots=True)
class LaneState:
    """One queue.

    Attributes
    ----------
    queued, running : int
        Work in these states, by the database.
    in_redis : int or None
        Attempts that wait in Redis; None when it does not answer.
    oldest_s : float
        How long the work that waits longest has waited, seconds; 0 = none waits.
    lapsed : int
        Running work whose lease has run out: its worker is gone or hangs.
    """

    lane: Lane
    queued: int
    running: int
    in_redis: int | None
    oldest_s: float
    lapsed: int


@dataclass(frozen=True, slots=True)
class WorkerState:
    """One worker process, as it has told Redis.

    Attributes
    ----------
    work_id : str or None
        What it works on.
    """

    name: str
    lane: Lane
    host: str
    pid: int | None
    busy: bool
    work_id: str | None
    seen_at: datetime | None


@dataclass(frozen=True, slots=True)
class WebhookState:
    """Deliveries that wait.

    Attributes
    ----------
    lag_s : float
        How long the oldest waits since it was queued, seconds.
    disabled : int
        Endpoints that are switched off, by their owner or after a 410.
    """

    pending: int
    lag_s: float
    disabled: int


class Overview:
    """Reads the state of the installation, across organisations."""

    def __init__(self, database: Database, queue: WorkQueue) -> None:
        self._database = database
        self._queue = queue

    def lanes(self) -> list[LaneState]:
        """Return the state of each queue."""
        open_states = (AnalysisStatus.QUEUED, AnalysisStatus.RUNNING)
        with self._database.read(EVERYTHING) as session:
            now = self._database.now(session)
            rows = session.execute(
                select(Work.kind, Work.status, func.count(), func.min(Work.queued_at))
                .where(Work.status.in_(open_states))
                .group_by(Work.kind, Work.status)
            ).all()
            lapsed = session.execute(
                select(Work.kind, func.count())
                .where(Work.status == AnalysisStatus.RUNNING, Work.lease_until < now)
                .group_by(Work.kind)
            ).all()
        found = []
        for lane in Lane:
            own = [row for row in rows if KINDS[WorkKind(row[0])].lane is lane]
            queued = [row for row in own if row[1] == AnalysisStatus.QUEUED]
            waits = [(now - row[3]).total_seconds() for row in queued]
            found.append(
                LaneState(
                    lane,
                    queued=sum(row[2] for row in queued),
                    running=sum(row[2] for row in own if row[1] == AnalysisStatus.RUNNING),
                    in_redis=self._in_redis(lane),
                    oldest_s=max([0.0, *waits]),
                    lapsed=sum(row[1] for row in lapsed if KINDS[WorkKind(row[0])].lane is lane),
                )
            )
        return found

    def _in_redis(self, lane: Lane) -> int | None:
        try:
            return self._queue.waiting_in(lane)
        except QueueUnavailable:
            return None

    def workers(self) -> list[WorkerState]:
        """Return the worker processes that Redis knows, of all machines.

        Raises
        ------
        QueueUnavailable
            Redis does not answer.
        """
        found = []
        connection = self._queue.connection
        try:
            for lane in Lane:
                known: Any = connection.smembers(f"rq:workers:{self._queue.name_of(lane)}")
                for key in sorted(known):
                    told: Any = connection.hgetall(key)
                    if told:
                        found.append(_worker(lane, key.decode("utf-8", "replace"), told))
        except RedisError as error:
            raise QueueUnavailable() from error
        return found

    def webhooks(self) -> WebhookState:
        """Return what waits to be delivered."""
        with self._database.read(EVERYTHING) as session:
            now = self._database.now(session)
            pending, oldest = session.execute(
                select(func.count(), func.min(Delivery.queued_at)).where(
                    Delivery.state.in_(("pending", "sending"))
                )
            ).one()
            disabled = session.scalars(
                select(func.count())
                .select_from(WebhookEndpoint)
                .where(WebhookEndpoint.enabled.is_(False))
            ).one()
        lag = (now - oldest).total_seconds() if oldest is not None else 0.0
        return WebhookState(pending, max(0.0, lag), disabled)

    def erasures(self) -> int:
        """Return how many erasures are not completed."""
        with self._database.read(EVERYTHING) as session:
            return session.scalars(
                select(func.count())
                .select_from(ErasureReceipt)
                .where(ErasureReceipt.completed_at.is_(None))
            ).one()


def _worker(lane: Lane, key: str, told: dict[bytes, bytes]) -> WorkerState:
    def text(name: bytes) -> str:
        return told.get(name, b"")[:200].decode("utf-8", "replace")

    job = text(b"current_job")
    seen = None
    with suppress(ValueError, TypeError):
        seen = str_to_date(told[b"last_heartbeat"]) if b"last_heartbeat" in told else None
    return WorkerState(
        name=key.removeprefix("rq:worker:")[:200],
        lane=lane,
        host=text(b"hostname"),
        pid=int(text(b"pid")) if text(b"pid").isdecimal() else None,
        busy=text(b"state") == "busy",
        work_id=job.rpartition("-")[0] or None,
        seen_at=seen,
    )
