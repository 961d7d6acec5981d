"""The RQ worker of this project: one queue, one forked work-horse per job, nothing left behind."""

from __future__ import annotations

import logging
import os
import signal
import threading
from collections.abc import Callable
from types import FrameType

from redis import Redis
from rq import Queue, Worker
from rq.job import Job
from rq.serializers import JSONSerializer

from workers.processes import tether
from workers.processes.scratch import Scratch

LOG = logging.getLogger(__name__)

MONITORING_INTERVAL_S = 5
MAINTENANCE_INTERVAL_S = 15
WORKER_TTL_S = 45
JOBS_BEFORE_RECYCLING = 200
LEAST_GRACE_S = 1.2


class ClipWorker(Worker):
    """Forking worker whose horse dies with it, and which hands work back when it must stop.

    Parameters
    ----------
    queue : Queue
        The one queue. (With several, RQ pops a job without a trace in Redis, and a crash at that
        moment loses it.)
    give_back : callable
        Receives the id of a job that this worker stopped in good order.
    grace_s : float
        Time a running job has after SIGTERM.
    scratch : Scratch
        Where jobs put their temporary files.
    """

    def __init__(
        self,
        queue: Queue,
        connection: Redis,
        *,
        give_back: Callable[[str], None],
        grace_s: float,
        scratch: Scratch,
    ) -> None:
        super().__init__(
            [queue],
            connection=connection,
            serializer=JSONSerializer,
            job_monitoring_interval=MONITORING_INTERVAL_S,
            maintenance_interval=MAINTENANCE_INTERVAL_S,
            worker_ttl=WORKER_TTL_S,
            default_result_ttl=0,
            log_job_description=False,
        )
        self._give_back = give_back
        self._grace_s = grace_s
        self._scratch = scratch
        self._at_work: str | None = None

    def execute_job(self, job: Job, queue: Queue) -> None:
        """Run one job in a work-horse."""
        self._at_work = job.id
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
                    self._give_back(self._at_work)
                except Exception:  # the lease then lapses by itself
                    LOG.warning("could not hand %s back", self._at_work, exc_info=True)
            raise
