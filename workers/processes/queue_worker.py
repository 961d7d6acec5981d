"""The RQ worker of this project: one queue, one forked work-horse per job, nothing left behind.

It takes no orders from Redis but attempts at queued work (:mod:`service.core.jobs`).
"""

from __future__ import annotations

import logging
import os
import signal
import threading
from collections.abc import Callable
from types import FrameType
from typing import Any

from redis import Redis
from redis.exceptions import RedisError
from rq import Queue, Worker
from rq.job import Job
from rq.serializers import JSONSerializer

from service.core.jobs import Attempt, AttemptJob, AttemptQueue
from workers.processes import tether
from workers.processes.scratch import Scratch

LOG = logging.getLogger(__name__)

MONITORING_INTERVAL_S = 5
"""Seconds between two looks at the running job, and so between signs of life in Redis."""
MAINTENANCE_INTERVAL_S = 15
"""Seconds between two cleanings of the queue's registries."""
WORKER_TTL_S = 45
"""Seconds without a sign of life after which Redis forgets a worker."""
JOBS_BEFORE_RECYCLING = 200
"""Jobs after which a worker ends, to be started anew with fresh memory (working value)."""
LEAST_GRACE_S = 1.2
"""Shortest grace, seconds: RQ takes two signals within one second for one."""


class ClipWorker(Worker):
    """Forking worker whose horse dies with it, and which hands work back when it must stop.

    Parameters
    ----------
    queue : str
        Name of the one queue. (With several, RQ pops a job without a trace in Redis, and a crash
        at that moment loses it.)
    carry_out : callable
        Does the work of an attempt, in the work-horse.
    give_back : callable
        Receives the attempt that this worker stopped in good order.
    job_timeout_s : int
        Time an attempt may take.
    grace_s : float
        Time a running job has after SIGTERM.
    scratch : Scratch
        Where jobs put their temporary files.
    """

    def __init__(
        self,
        queue: str,
        connection: Redis,
        *,
        carry_out: Callable[[Attempt], None],
        give_back: Callable[[Attempt], None],
        job_timeout_s: int,
        grace_s: float,
        scratch: Scratch,
    ) -> None:
        super().__init__(
            [AttemptQueue(queue, connection=connection, serializer=JSONSerializer)],
            connection=connection,
            serializer=JSONSerializer,
            job_class=AttemptJob,
            queue_class=AttemptQueue,
            job_monitoring_interval=MONITORING_INTERVAL_S,
            maintenance_interval=MAINTENANCE_INTERVAL_S,
            worker_ttl=WORKER_TTL_S,
            default_result_ttl=0,
            log_job_description=False,
        )
        self._carry_out = carry_out
        self._give_back = give_back
        self._job_timeout_s = job_timeout_s
        self._grace_s = grace_s
        self._scratch = scratch
        self._at_work: AttemptJob | None = None

    def execute_job(self, job: Job, queue: Queue) -> None:
        """Run one job in a work-horse; what is run and for how long is not the job's to say."""
        assert isinstance(job, AttemptJob)
        job.carry_out = self._carry_out
        job.timeout = self._job_timeout_s
        job.origin = queue.name
        self._at_work = job
        try:
            super().execute_job(job, queue)
        finally:
            self._scratch.clear()  # a killed horse leaves its film there
        self._at_work = None

    def main_work_horse(self, job: Job, queue: Queue) -> None:
        """Run in the forked child. First of all: never outlive the worker."""
        tether.die_with_parent(parent=self.pid)
        self._scratch.use()
        super().main_work_horse(job, queue)

    def request_stop(self, signum: int, frame: FrameType | None) -> None:
        """Let the running job end; after the grace, stop it."""
        # RQ takes a second signal within one second for a repetition of the first.
        wait = max(self._grace_s, LEAST_GRACE_S)
        timer = threading.Timer(wait, os.kill, (os.getpid(), signal.SIGTERM))
        timer.daemon = True
        timer.start()
        super().request_stop(signum, frame)  # type: ignore[no-untyped-call]

    def request_force_stop(self, signum: int, frame: FrameType | None) -> None:
        """Kill the horse and hand its work back, so that another host takes over at once."""
        try:
            super().request_force_stop(signum, frame)
        except SystemExit:
            if self._at_work is not None:
                try:
                    self._give_back(self._at_work.attempt())
                except Exception:  # the lease then lapses by itself
                    LOG.warning("could not hand %s back", self._at_work.id, exc_info=True)
            raise

    def handle_payload(self, message: Any) -> None:
        """Take no orders from Redis: work is stopped by its row, a worker by a signal."""
        LOG.warning("refused an order from Redis: %.200r", message)

    def clean_registries(self) -> None:
        """Tidy the queue; what somebody put there must not end the worker."""
        try:
            super().clean_registries()  # type: ignore[no-untyped-call]
        except RedisError:
            raise
        except Exception:
            LOG.warning("the queue could not be tidied", exc_info=True)

    def clean_group_registries(self) -> None:
        """Do nothing: attempts are in no groups."""
