"""Differences of one player's sessions beside the true ones: slope, error and interval.

What films show less of is undone by shares that were worked out from all other players.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from models.contract.comparison import MetricDifference
from models.contract.metrics.catalogue import CATALOGUE
from models.contract.metrics.definition import metric_name
from models.contract.tracks import FloatArray
from workers.engine.truth import ClipTruth

from .pairs import true_difference

LEAST = 12
"""Fewest differences of a row."""
MOVED = 0.5
"""Spread of the true differences, in tolerances of the metric, from which it counts as moved
(working value)."""


@dataclass(frozen=True)
class Change:
    """One metric of one player: the difference as told, its 95 % interval, and the true one."""

    name: str
    told: float
    low: float
    high: float
    true: float

    @property
    def held(self) -> bool:
        """Whether the interval holds the true difference."""
        return self.low <= self.true <= self.high


def changes(
    rows: Iterable[MetricDifference], first: Sequence[ClipTruth], second: Sequence[ClipTruth]
) -> list[Change]:
    """Return the differences of two sessions whose truth is known."""
    found = []
    for row in rows:
        name = metric_name(row.key, row.event)
        if CATALOGUE.yes_no(name) or row.difference is None or row.low is None or row.high is None:
            continue
        true = true_difference(row, first, second)
        if true is not None:
            found.append(Change(name, row.difference, row.low, row.high, true))
    return found


def table(found: Iterable[Change]) -> str:
    """Return a Markdown table, a metric a row; all that truly moved together, in units of the true
    spread; and how often any interval holds.
    """
    groups: dict[str, list[Change]] = defaultdict(list)
    for one in found:
        groups[one.name].append(one)
    lines = [
        "| metric | differences | spread of the true ones | slope | r² | mean absolute error | "
        "interval holds |",
        "| --- | ---: | ---: | ---: | ---: | ---: | ---: |",
    ]
    told_all, true_all, held_all = [], [], []
    for name, mine in sorted(groups.items()):
        held_all += [one.held for one in mine]
        told = np.array([one.told for one in mine])
        true = np.array([one.true for one in mine])
        spread = float(true.std())
        if len(mine) < LEAST or spread <= 0.0 or told.std() <= 0.0:
            continue
        if _moved(name, spread):
            told_all.append(told / spread)
            true_all.append(true / spread)
        lines.append(
            f"| `{name}` | {len(mine)} | {spread:.3g} | {_slope(true, told):.2f} | "
            f"{np.corrcoef(true, told)[0, 1] ** 2:.2f} | {np.abs(told - true).mean():.3g} | "
            f"{np.mean([one.held for one in mine]):.0%} |"
        )
    if told_all:
        told, true = np.concatenate(told_all), np.concatenate(true_all)
        lines.append(
            f"| the {len(true_all)} that moved, in units of the true spread | {len(true)} | 1 | "
            f"{_slope(true, told):.2f} | {np.corrcoef(true, told)[0, 1] ** 2:.2f} | "
            f"{np.abs(told - true).mean():.2f} | {np.mean(held_all):.0%} of all {len(held_all)} |"
        )
    return "\n".join(lines)


def _moved(name: str, spread: float) -> bool:
    known = CATALOGUE.named(name)
    return known is not None and spread >= MOVED * (known.tolerance or np.inf)


def _slope(true: FloatArray, told: FloatArray) -> float:
    return float(np.polyfit(true, told, 1)[0])
