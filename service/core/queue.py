"""The work queue: RQ on Redis or Valkey. Holds only work in flight; losing it loses nothing.

A queue a lane, so that short work does not wait for long. Exactly one queue a worker: only then
does RQ move a job by one atomic step, so that a crash between taking and registering it cannot
lose it. What a job may say: :mod:`service.core.jobs`.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from functools import cached_property

from redis import Redis
from redis.backoff import ExponentialBackoff
from redis.exceptions import RedisError
from redis.retry import Retry
from rq.exceptions import NoSuchJobError
from rq.job import JobStatus
from rq.serializers import JSONSerializer

from models.contract.errors import QueueUnavailable
from service.core.jobs import Attempt, AttemptJob, AttemptQueue
from service.core.kinds import KINDS, Lane, kind_of

SILENT_S = 30.0
"""A started job whose worker has been silent for so many seconds counts as lost; its beats are 5 s
apart."""


def connect(url: str) -> Redis:
    """Return a Redis client that fails soon instead of hanging a request."""
    return Redis.from_url(
        url,
        socket_connect_timeout=2,
        socket_timeout=5,
        health_check_interval=30,
        retry=Retry(ExponentialBackoff(cap=0.2, base=0.02), 2),
    )


def queue_of(name: str, lane: Lane) -> str:
    """Return the name of the queue of a lane; the long one has the name that is set."""
    return name if lane is Lane.LONG else f"{name}-{lane}"


def attempt_at(work_id: str, number: int) -> Attempt:
    """Return an attempt; the id tells of what kind the work is."""
    return Attempt(kind_of(work_id), work_id, number)


class WorkQueue:
    """Sends attempts; which function carries them out, only the workers know.

    Parameters
    ----------
    name : callable
        Returns the name of the queue; asked at first need.
    """

    def __init__(self, url: str, name: Callable[[], str], job_timeout_s: int) -> None:
        self.connection = connect(url)
        self._name = name
        self._timeout = job_timeout_s

    @cached_property
    def name(self) -> str:
        """Name of the queue."""
        return self._name()

    def name_of(self, lane: Lane) -> str:
        """Return the name of the queue of a lane."""
        return queue_of(self.name, lane)

    @cached_property
    def _lanes(self) -> dict[Lane, AttemptQueue]:
        return {
            lane: AttemptQueue(
                self.name_of(lane), connection=self.connection, serializer=JSONSerializer
            )
            for lane in Lane
        }

    def _lane_of(self, work_id: str) -> AttemptQueue:
        return self._lanes[KINDS[kind_of(work_id)].lane]

    def enqueue(self, work_id: str, attempt: int) -> None:
        """Send one attempt to the workers. Call it after the commit, never inside."""
        try:
            self._lane_of(work_id).enqueue_job(
                AttemptJob.of(attempt_at(work_id, attempt), self.connection, self._timeout)
            )
        except RedisError as error:
            raise QueueUnavailable() from error

    def waiting(self) -> frozenset[str]:
        """Return the names of all jobs that wait, read at once."""
        try:
            lists = [self.connection.lrange(one.key, 0, -1) for one in self._lanes.values()]
        except RedisError as error:
            raise QueueUnavailable() from error
        names = [name for waiting in lists for name in waiting]
        return frozenset(str(name, "ascii", "replace") for name in names if isinstance(name, bytes))

    def is_known(self, work_id: str, attempt: int) -> bool:
        """Tell whether a worker will take, or has, this attempt."""
        name = attempt_at(work_id, attempt).job_id
        try:
            try:
                job = AttemptJob.fetch(name, self.connection, JSONSerializer)
            except NoSuchJobError:
                return False
            if job.get_status(refresh=False) == JobStatus.STARTED:
                seen = job.last_heartbeat
                if seen is None:
                    return False
                if seen.tzinfo is None:
                    seen = seen.replace(tzinfo=UTC)
                return (datetime.now(UTC) - seen).total_seconds() < SILENT_S
            # A job on its way to a worker (RQ's intermediate list) counts as lost: that way takes
            # milliseconds, and a worker killed on it leaves the job there. Sent twice does no
            # harm: one attempt can be claimed once.
            return self.connection.lpos(self._lane_of(work_id).key, name) is not None
        except RedisError as error:
            raise QueueUnavailable() from error

    def remove(self, work_id: str, attempt: int) -> None:
        """Take an attempt out of the queue. A running one is stopped by its lost lease."""
        name = attempt_at(work_id, attempt).job_id
        try:
            if self.connection.lrem(self._lane_of(work_id).key, 0, name):
                self.connection.delete(AttemptJob.key_for(name))
            # else its worker has it, and RQ needs the record until it ends
        except RedisError as error:
            raise QueueUnavailable() from error

    def waiting_in(self, lane: Lane) -> int:
        """Return how many attempts wait in a lane."""
        try:
            return int(self._lanes[lane].count)
        except RedisError as error:
            raise QueueUnavailable() from error

    def __len__(self) -> int:
        return sum(self.waiting_in(lane) for lane in Lane)

    def ping(self) -> None:
        """Raise :class:`QueueUnavailable` unless the server answers."""
        try:
            self.connection.ping()
        except RedisError as error:
            raise QueueUnavailable() from error

    def close(self) -> None:
        """Close the connections."""
        self.connection.close()
