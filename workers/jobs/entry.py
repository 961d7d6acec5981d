"""The one way into the jobs: an attempt from the queue, carried out by what makes its kind."""

from __future__ import annotations

from service.core.jobs import Attempt
from service.core.settings import Settings
from service.core.wiring import Wiring, wire
from workers.jobs.attempt import run_attempt
from workers.jobs.makers import MAKERS


def carry_out(attempt: Attempt) -> None:
    """Carry out one attempt at one piece of queued work."""
    wiring = wire(Settings())
    try:
        work(wiring, attempt)
    finally:
        wiring.close()


def work(wiring: Wiring, attempt: Attempt) -> None:
    """Carry out one attempt with these adapters."""
    run_attempt(wiring, attempt, MAKERS[attempt.kind])
