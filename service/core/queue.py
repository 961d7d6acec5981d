"""The work queue: RQ on Redis or Valkey. Holds only work in flight; losing it loses nothing.

Exactly one queue a worker: only then does RQ move a job by one atomic step, so that a crash
between taking and registering it cannot lose it. Serializer JSON: whoever can write to Redis must
not be able to run code by a pickle.
"""

from __future__ import annotations

from datetime import UTC, datetime

from redis import Redis
from redis.backoff import ExponentialBackoff
from redis.exceptions import RedisError
from redis.retry import Retry
from rq import Queue
from rq.exceptions import NoSuchJobError
from rq.job import Job, JobStatus
from rq.serializers import JSONSerializer

from models.contract.errors import QueueUnavailable
from service.core.identifiers import is_id

RUN_ANALYSIS = "workers.jobs.analysis.run_analysis"
RUN_DOCUMENT = "workers.jobs.documents.run_document"
FAILURE_TTL_S = 24 * 3600
SILENT_S = 30.0  # a started job whose worker has been silent this long counts as lost (beats: 5 s)


def job_id(work_id: str, attempt: int) -> str:
    """Return the id of the job that runs one attempt."""
    return f"{work_id}-{attempt}"


def entry_point(work_id: str) -> str:
    """Return the dotted name of the function that runs this work; its id tells what it is."""
    return RUN_ANALYSIS if is_id(work_id, "ana") else RUN_DOCUMENT


def connect(url: str) -> Redis:
    """Return a Redis client that fails soon instead of hanging a request."""
    return Redis.from_url(
        url,
        socket_connect_timeout=2,
        socket_timeout=5,
        health_check_interval=30,
        retry=Retry(ExponentialBackoff(cap=0.2, base=0.02), 2),
    )


class WorkQueue:
    """Enqueues work by dotted name; the service never imports the workers."""

    def __init__(self, url: str, name: str, job_timeout_s: int) -> None:
        self.connection = connect(url)
        self.name = name
        self._timeout = job_timeout_s
        self._queue = Queue(name, connection=self.connection, serializer=JSONSerializer)

    def enqueue(self, work_id: str, attempt: int) -> None:
        """Send one attempt to the workers. Call it after the commit, never inside."""
        try:
            self._queue.enqueue(
                entry_point(work_id),
                args=[work_id, attempt],
                job_id=job_id(work_id, attempt),
                job_timeout=self._timeout,
                result_ttl=0,
                failure_ttl=FAILURE_TTL_S,
                description=f"{work_id} attempt {attempt}",
            )
        except RedisError as error:
            raise QueueUnavailable() from error

    def is_known(self, work_id: str, attempt: int) -> bool:
        """Tell whether a worker will take, or has, this attempt."""
        name = job_id(work_id, attempt)
        try:
            try:
                job = Job.fetch(name, connection=self.connection, serializer=JSONSerializer)
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
            return self.connection.lpos(self._queue.key, name) is not None
        except RedisError as error:
            raise QueueUnavailable() from error

    def remove(self, work_id: str, attempt: int) -> None:
        """Take an attempt out of the queue. A running one is stopped by its lost lease."""
        name = job_id(work_id, attempt)
        try:
            if self.connection.lrem(self._queue.key, 0, name):
                self.connection.delete(Job.key_for(name))
            # else its worker has it, and RQ needs the record until it ends
        except RedisError as error:
            raise QueueUnavailable() from error

    def __len__(self) -> int:
        try:
            return int(self._queue.count)
        except RedisError as error:
            raise QueueUnavailable() from error

    def ping(self) -> None:
        """Raise :class:`QueueUnavailable` unless the server answers."""
        try:
            self.connection.ping()
        except RedisError as error:
            raise QueueUnavailable() from error

    def close(self) -> None:
        """Close the connections."""
        self.connection.close()
