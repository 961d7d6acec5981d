"""What the tests of jobs of analyses share: one queued film, and what came of it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from sqlalchemy import select

from service.core.claims import Claim
from service.core.queue import attempt_at
from service.core.tables import OutboxEvent, Work
from service.core.wiring import Wiring
from workers.jobs.analysis import ChooseStages, analyse
from workers.jobs.attempt import run_attempt
from workers.jobs.lease import Lease
from workers.jobs.making import Made
from workers.pipeline.run import StageFunctions


def row(wiring: Wiring, analysis_id: str) -> Work:
    with wiring.database.read() as session:
        return session.get_one(Work, analysis_id)


def events(wiring: Wiring) -> list[str]:
    with wiring.database.read() as session:
        return list(session.scalars(select(OutboxEvent.type)))


def work(wiring: Wiring, analysis_id: str, attempt: int, choose: ChooseStages) -> None:
    """Run one attempt with these stages."""

    def make(wiring: Wiring, claim: Claim, lease: Lease, folder: Path) -> Made:
        return analyse(wiring, claim, lease, folder, choose)

    run_attempt(wiring, attempt_at(analysis_id, attempt), make)


def always(chosen: StageFunctions) -> Callable[[tuple[str, ...] | None], StageFunctions]:
    return lambda _models: chosen


def keys(wiring: Wiring) -> list[str]:
    return [info.key for info in wiring.objects.list("analyses")]
