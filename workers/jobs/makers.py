"""Which module makes which kind of queued work. A new kind is entered here."""

from __future__ import annotations

from models.contract.vocabulary import WorkKind
from workers.jobs import analysis, comparison, drill_check, plan, progress
from workers.jobs.making import Maker

MAKERS: dict[WorkKind, Maker] = {
    WorkKind.ANALYSIS: analysis.make,
    WorkKind.COMPARISON: comparison.make,
    WorkKind.PROGRESS: progress.make,
    WorkKind.PLAN: plan.make,
    WorkKind.DRILL_CHECK: drill_check.make,
}
