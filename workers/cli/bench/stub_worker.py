"""A worker of the queue that keeps a core busy instead of analysing, and stores a small result.

Everything else is real: queue, lease, heartbeats, fenced commit, object store, webhook event.
``python -m workers.cli.bench.stub_worker SECONDS``.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

from workers.processes.threads import limit_threads

if TYPE_CHECKING:
    from service.core.claims import Claim
    from service.core.jobs import Attempt
    from service.core.wiring import Wiring
    from workers.jobs.lease import Lease
    from workers.jobs.making import Made, Maker

GRACE_S = 1.0
"""Seconds a stub worker has to end (working value)."""


def busy(seconds: float) -> Maker:
    """Return a maker that computes for so many seconds of processor time."""
    from models.contract.vocabulary import Stage
    from workers.jobs.making import Made
    from workers.pipeline.result_files import ResultFile

    def make(wiring: Wiring, claim: Claim, lease: Lease, folder: Path) -> Made:
        start = time.process_time()
        while (spent := time.process_time() - start) < seconds:
            sum(range(10_000))
            lease(Stage.POSE, min(1.0, spent / seconds))
        files = tuple(
            ResultFile(name, f"{name}.json", "application/json", b'{"of": "the bench"}')
            for name in ("result", "events", "metrics", "joints")
        )
        return Made(files, {})

    return make


def main(seconds: float) -> None:
    """Work until told to stop."""
    limit_threads()
    from service.core.settings import Settings
    from service.core.wiring import wire
    from workers.jobs.attempt import run_attempt
    from workers.processes.boot import give_back
    from workers.processes.queue_worker import ClipWorker
    from workers.processes.scratch import Scratch

    settings = Settings()
    maker = busy(seconds)

    def carry_out(attempt: Attempt) -> None:
        wiring = wire(settings)
        try:
            run_attempt(wiring, attempt, maker)
        finally:
            wiring.close()

    scratch = Scratch()
    own = wire(settings)
    name = own.queue.name
    own.database.close()  # no connection may be shared with the horses
    worker = ClipWorker(
        name,
        own.queue.connection,
        carry_out=carry_out,
        give_back=lambda attempt: give_back(settings, attempt),
        job_timeout_s=settings.job_timeout_s,
        grace_s=GRACE_S,
        scratch=scratch,
    )
    try:
        worker.work(logging_level="WARNING")
    finally:
        scratch.close()


if __name__ == "__main__":
    main(float(sys.argv[1]))
