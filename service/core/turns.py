"""A row of queued work and the decisions about it: what is decided by, and what it changes."""

from __future__ import annotations

from datetime import datetime

from models.contract.vocabulary import AnalysisStatus
from service.core import lifecycle
from service.core.tables import Work


def state_of(row: Work) -> lifecycle.State:
    """Return the facts that decisions are made by."""
    return lifecycle.State(
        AnalysisStatus(row.status), row.attempt, row.crashes, row.queued_at, row.lease_until
    )


def end(row: Work, now: datetime) -> None:
    """Note that work has ended, and that nobody holds it."""
    row.finished_at = now
    row.time_left_s = None
    row.lease_until = None
    row.lease_holder = None


def requeue(row: Work, decision: lifecycle.Requeue, now: datetime) -> None:
    """Put work back for the next attempt."""
    row.status = AnalysisStatus.QUEUED
    row.attempt = decision.attempt
    row.crashes = decision.crashes
    row.queued_at = now
    row.lease_until = None
    row.lease_holder = None
    row.time_left_s = None
