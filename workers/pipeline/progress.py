"""How far an analysis is: one number over all stages."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from types import MappingProxyType

from models.contract.vocabulary import Stage

Report = Callable[[Stage, float], None]
"""Receives the present stage and the share of the whole analysis that is done, 0..1.

It may raise: that ends the analysis (cancelled, lease lost).
"""

STAGE_SHARES: Mapping[Stage, float] = MappingProxyType(
    {
        Stage.PROBE: 0.01,
        Stage.DECODE: 0.02,
        Stage.POSE: 0.65,
        Stage.SERVE: 0.25,
        Stage.PICTURES: 0.04,
        Stage.STORE: 0.03,
    }
)
"""Part of the run time that each stage takes, roughly; only the feel of the bar depends on it."""


def silent(_stage: Stage, _done: float) -> None:
    """Report nothing."""


class PipelineProgress:
    """Turns the progress inside stages into progress of the whole, which never goes back."""

    def __init__(self, report: Report = silent) -> None:
        self._report = report
        self._done = 0.0

    def enter(self, stage: Stage) -> None:
        """Say that a stage begins."""
        self.advance(stage, 0.0)

    def advance(self, stage: Stage, share: float) -> None:
        """Say that ``share`` (0..1) of a stage is done. NaN and values outside are clipped."""
        inside = 0.0 if math.isnan(share) else min(max(share, 0.0), 1.0)
        before = sum(part for other, part in STAGE_SHARES.items() if _precedes(other, stage))
        self._done = min(1.0, max(self._done, before + inside * STAGE_SHARES[stage]))
        self._report(stage, self._done)


def _precedes(stage: Stage, other: Stage) -> bool:
    order = list(Stage)
    return order.index(stage) < order.index(other)
