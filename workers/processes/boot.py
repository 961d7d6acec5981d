"""Boot of the workers: a supervisor, and one RQ worker a core below it, with one for short work.

``python -m workers.processes.boot`` is the supervisor; with ``--one`` it is a worker of a lane. The
supervisor starts as many workers as asked, again when one ends, and reconciles the queue with the
database.
Killing the supervisor, even with SIGKILL, leaves nothing behind.
"""

from __future__ import annotations

import argparse
import importlib
import logging
import os
from collections.abc import Sequence
from typing import TYPE_CHECKING

from workers.processes.threads import SINGLE_THREAD, limit_threads, usable_cores

if TYPE_CHECKING:
    from pathlib import Path

    from service.core.jobs import Attempt
    from service.core.kinds import Lane
    from service.core.settings import Settings

LOG = logging.getLogger(__name__)

GRACE_S = 20.0
"""Time a running analysis gets at shutdown before its work is handed back."""

_HAND_BACK_S = 5.0
"""What a worker gets beyond the grace to hand its work back, seconds (working value)."""


def supervise(
    settings: Settings, processes: int, grace_s: float, alive_file: Path | None = None
) -> None:
    """Run worker processes until SIGTERM or Ctrl-C.

    Parameters
    ----------
    processes : int
        Workers for films; 0 = one a usable core. One for short work comes on top: it is nearly
        always idle, and loads no networks.
    alive_file : Path or None
        Touched while the supervisor goes round, for probes that look at its age.
    """
    from service.core.hiding import hide_from_others
    from service.core.kinds import Lane
    from service.core.wiring import wire
    from workers.processes import tether
    from workers.processes.supervisor import Program, Supervisor

    count = processes or settings.workers or usable_cores()
    lanes = [(f"worker-{number}", Lane.LONG) for number in range(1, count + 1)]
    supervisor = Supervisor(
        [
            Program(
                name=name,
                command=tether.module(
                    "workers.processes.boot", "--one", lane.value, "--grace", str(grace_s)
                ),
                environment={**os.environ, **SINGLE_THREAD},
                grace_s=grace_s + _HAND_BACK_S,
            )
            for name, lane in [*lanes, ("worker-short", Lane.SHORT)]
        ]
    )
    supervisor.install_signal_handlers()
    hide_from_others()
    wiring = wire(settings)
    background = wiring.background()
    background.start()
    LOG.info("%d worker processes", count)
    try:
        supervisor.run(alive_file.touch if alive_file is not None else lambda: None)
    finally:
        background.stop()
        wiring.close()


def run_one(settings: Settings, lane: Lane, grace_s: float) -> None:
    """Be one RQ worker on the queue of one lane until told to stop or due for recycling."""
    import cv2

    from service.core.hiding import hide_from_others
    from service.core.kinds import Lane
    from service.core.wiring import wire
    from workers.jobs.entry import carry_out
    from workers.processes.queue_worker import JOBS_BEFORE_RECYCLING, ClipWorker
    from workers.processes.scratch import Scratch

    hide_from_others()
    cv2.setNumThreads(1)
    if lane is Lane.LONG:
        preload(settings)
    else:
        importlib.import_module("workers.jobs.entry")
    wiring = wire(settings)
    wiring.traces.load()
    name = wiring.queue.name_of(lane)
    wiring.database.close()  # no connection may be shared with the horses
    scratch = Scratch()
    worker = ClipWorker(
        name,
        wiring.queue.connection,
        carry_out=carry_out,
        give_back=lambda attempt: give_back(settings, attempt),
        job_timeout_s=settings.job_timeout_s,
        grace_s=grace_s,
        scratch=scratch,
    )
    LOG.info("working on queue %s", name)
    level = "DEBUG" if settings.log_level == "debug" else "WARNING"
    try:
        worker.work(logging_level=level, max_jobs=JOBS_BEFORE_RECYCLING)
    finally:
        scratch.close()


def preload(settings: Settings) -> bool:
    """Load what jobs need and check that a forked child can use it; return whether it can.

    On a GPU nothing is preloaded: its context does not survive a fork.
    """
    from workers.jobs.configured import shared_stages
    from workers.pipeline.stages import networks
    from workers.processes.preload import survives_fork, warm_up

    importlib.import_module("workers.jobs.entry")  # for the horses, which inherit what it loads
    if settings.device != "cpu":
        return False
    shared_stages(settings)
    opened = networks(settings.models, settings.device)
    if survives_fork(lambda: warm_up(opened)):
        return True
    LOG.warning("networks do not survive a fork here; each job loads its own")
    shared_stages.cache_clear()
    networks.cache_clear()
    return False


def give_back(settings: Settings, attempt: Attempt) -> None:
    """Release work whose attempt was stopped in good order, and send it out again."""
    from models.contract.errors import Cancelled, Erased, LeaseLost
    from service.core.wiring import wire

    work_id = attempt.work_id
    wiring = wire(settings)
    try:
        following = wiring.work.release(work_id, attempt.number)
        wiring.queue.enqueue(work_id, following)
        LOG.info("%s handed back; next attempt %d", work_id, following)
    except (LeaseLost, Cancelled, Erased):
        return
    finally:
        wiring.close()


def main(arguments: Sequence[str] | None = None) -> None:
    """Command line of this module."""
    parser = argparse.ArgumentParser(prog="python -m workers.processes.boot", description=__doc__)
    parser.add_argument("--one", metavar="LANE", help="be a single worker: long or short")
    parser.add_argument("--processes", type=int, default=0, help="0 = one a usable core")
    parser.add_argument("--grace", type=float, default=GRACE_S, help="seconds at shutdown")
    chosen = parser.parse_args(arguments)
    limit_threads()
    from service.core.logs import configure_logging
    from service.core.settings import Settings

    settings = Settings()
    configure_logging(settings.log_level, settings.log_format)
    if chosen.one:
        from service.core.kinds import Lane

        run_one(settings, Lane(chosen.one), chosen.grace)
    else:
        supervise(settings, chosen.processes, chosen.grace)


if __name__ == "__main__":
    main()
