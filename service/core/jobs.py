"""What the queue may carry: one attempt at one piece of queued work, and nothing else.

RQ jobs name a Python function, callbacks and addresses to call, all read from Redis; whoever can
write there could run anything in a worker. The classes here read three values (kind, id, attempt)
and the marks that the queue keeps by itself (state, times); everything else in Redis is ignored,
and a job that does not hold exactly these three is refused.
"""

from __future__ import annotations

import json
import logging
import re
import zlib
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Self

from redis import Redis
from redis.exceptions import ResponseError
from rq import Queue
from rq.exceptions import NoSuchJobError
from rq.intermediate_queue import IntermediateQueue
from rq.job import Job, JobStatus
from rq.serializers import JSONSerializer
from rq.utils import str_to_date

from models.contract.vocabulary import WorkKind
from service.core.identifiers import is_id
from service.core.kinds import KINDS

LOG = logging.getLogger(__name__)

FAILURE_TTL_S = 24 * 3600
"""How long Redis keeps the record of a failed job, seconds."""
MAX_ATTEMPT = 10**6
"""Greatest number of an attempt that is read."""
MAX_DATA_BYTES = 512
"""Greatest size of a job's data, bytes; the three values take about 100."""
_JOB_ID = re.compile(r"[a-z]{2,10}_[0-9a-f]{32}-[1-9][0-9]{0,6}")


class JobRefused(Exception):
    """A job in Redis is not an attempt at queued work. Nothing of it was carried out."""


@dataclass(frozen=True, slots=True)
class Attempt:
    """One attempt at one piece of queued work.

    Attributes
    ----------
    number : int
        Fencing token, from 1.
    """

    kind: WorkKind
    work_id: str
    number: int

    def __post_init__(self) -> None:
        if not is_id(self.work_id, KINDS[self.kind].prefix):
            raise ValueError(f"not the id of a {self.kind}")
        if not 1 <= self.number <= MAX_ATTEMPT:
            raise ValueError("not the number of an attempt")

    @property
    def job_id(self) -> str:
        """Name of its job."""
        return f"{self.work_id}-{self.number}"

    def to_bytes(self) -> bytes:
        """Return what the queue carries."""
        values = {"kind": self.kind.value, "id": self.work_id, "attempt": self.number}
        return json.dumps(values).encode()

    @classmethod
    def from_bytes(cls, data: bytes) -> Self:
        """Return what the queue carried. Raises ``ValueError`` for anything else."""
        values = json.loads(data)
        if not isinstance(values, dict) or set(values) != {"kind", "id", "attempt"}:
            raise ValueError("not the three values of an attempt")
        kind, work_id, number = values["kind"], values["id"], values["attempt"]
        if type(kind) is not str or type(work_id) is not str or type(number) is not int:
            raise ValueError("a value of an attempt is of another type")
        return cls(WorkKind(kind), work_id, number)


class AttemptJob(Job):
    """A job that can say one thing only: carry out this attempt.

    What carries it out is set by the process that runs it (:attr:`carry_out`), never by Redis.
    """

    carry_out: Callable[[Attempt], None] | None = None

    @classmethod
    def of(cls, attempt: Attempt, connection: Redis, timeout_s: int) -> Self:
        """Return the job of an attempt, not yet sent."""
        job = cls(attempt.job_id, connection=connection, serializer=JSONSerializer)
        job.data = attempt.to_bytes()
        job.timeout = timeout_s
        job.result_ttl = 0
        job.failure_ttl = FAILURE_TTL_S
        job.description = f"{attempt.work_id} attempt {attempt.number}"
        return job

    @classmethod
    def fetch(cls, id: str, connection: Redis | None = None, serializer: Any = None) -> Self:
        """Read a job. What is no job of ours does not exist: ``NoSuchJobError``."""
        if _JOB_ID.fullmatch(id.partition(":")[0]) is None:
            raise NoSuchJobError(f"no attempt is named {id!r}")
        try:
            return super().fetch(id, connection=connection, serializer=serializer)  # type: ignore[return-value]
        except (ResponseError, UnicodeDecodeError, ValueError, TypeError) as error:
            raise NoSuchJobError(f"the record of {id} cannot be read") from error

    def attempt(self) -> Attempt:
        """Return the attempt that is asked for. Raises :class:`JobRefused`."""
        try:
            attempt = Attempt.from_bytes(self.data)
        except (ValueError, RecursionError) as error:
            raise JobRefused(f"the job {self.id} holds no attempt at queued work") from error
        if attempt.job_id != self.id:
            raise JobRefused(f"the job {self.id} holds another attempt than it is named for")
        return attempt

    def restore(self, raw_data: Mapping[bytes, bytes]) -> None:
        """Take over the attempt and the queue's own marks; nothing else of what Redis says."""
        if b"data" not in raw_data:
            raise NoSuchJobError(f"the record of {self.id} holds no data")
        self.data = _unpacked(raw_data[b"data"])
        status = _text(raw_data.get(b"status"))
        self._status = JobStatus(status) if status in set(JobStatus) else JobStatus.CREATED
        self.origin = _text(raw_data.get(b"origin"))
        self.worker_name = _text(raw_data.get(b"worker_name")) or None
        self.created_at = _moment(raw_data.get(b"created_at")) or self.created_at
        self.enqueued_at = _moment(raw_data.get(b"enqueued_at"))
        self.started_at = _moment(raw_data.get(b"started_at"))
        self.ended_at = _moment(raw_data.get(b"ended_at"))
        self.last_heartbeat = _moment(raw_data.get(b"last_heartbeat"))
        self.result_ttl = 0
        self.failure_ttl = FAILURE_TTL_S
        self.description = self.id

    def _deserialize_data(self) -> None:
        """Say what RQ's log lines ask for; the data itself is read by :meth:`attempt` alone."""
        self._func_name, self._instance, self._args, self._kwargs = "attempt", None, (), {}

    @property
    def func(self) -> None:
        """No function: :attr:`carry_out` is called instead."""

    def _execute(self) -> None:
        attempt = self.attempt()
        if self.carry_out is None:
            raise JobRefused("this process carries nothing out")
        self.carry_out(attempt)


class AttemptQueue(Queue):
    """A queue of such jobs. Names that are no attempt's are thrown away as they come."""

    job_class = AttemptJob

    @classmethod
    def lmove(cls, connection: Redis, queue_key: str, timeout: int | None) -> Any:
        """Return the next name that an attempt can have; None when the queue is empty."""
        while (moved := super().lmove(connection, queue_key, timeout)) is not None:
            name = moved[1] if isinstance(moved[1], bytes) else str(moved[1]).encode()
            if _JOB_ID.fullmatch(name.decode("ascii", "replace")) is not None:
                return moved
            LOG.warning("refused a job that no attempt can be named for: %.80r", name)
            key = IntermediateQueue.get_intermediate_queue_key(queue_key)
            connection.lrem(key, 0, name)  # type: ignore[arg-type]
        return None

    def move_dependents_to_ready(self, *_arguments: Any, **_named: Any) -> dict[str, list[str]]:
        """Return nothing: no attempt waits for another."""
        return {}

    def enqueue_dependents(self, *_arguments: Any, **_named: Any) -> dict[str, list[str]]:
        """Return nothing: no attempt waits for another."""
        return {}


def _unpacked(data: bytes) -> bytes:
    """Return the data, which may be compressed; what is too long comes back cut and is refused."""
    unpacker = zlib.decompressobj()
    with suppress(zlib.error):
        return unpacker.decompress(data, MAX_DATA_BYTES)
    return data[:MAX_DATA_BYTES]


def _text(value: bytes | None) -> str:
    return (value or b"")[:200].decode("utf-8", "replace")


def _moment(value: bytes | None) -> datetime | None:
    try:
        return str_to_date(value) if value else None
    except (ValueError, TypeError):
        return None
