"""The one way into the jobs: an attempt from the queue, carried out by what makes its kind."""

from __future__ import annotations

from models.contract.vocabulary import WorkKind
from service.core.jobs import Attempt
from service.core.settings import Settings
from service.core.wiring import wire
from workers.jobs import analysis, documents
from workers.jobs.configured import shared_stages


def carry_out(attempt: Attempt) -> None:
    """Carry out one attempt at one piece of queued work."""
    settings = Settings()
    wiring = wire(settings)
    try:
        if attempt.kind is WorkKind.ANALYSIS:
            analysis.work(
                wiring,
                attempt.work_id,
                attempt.number,
                lambda models: shared_stages(settings, models),
            )
        else:
            documents.work(wiring, attempt.work_id, attempt.number)
    finally:
        wiring.close()
