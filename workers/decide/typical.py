"""The typical one of several repetitions: robust values, scatter, and which one differs.

Medians, so that one odd serve changes little. A serve differs where its distance from the others'
median is more than scatter and measuring explain, at 5 % over everything that is looked at
(Bonferroni; metrics of one body move together, as in `scatter`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats

from models.contract.analysis import Metric, Repetition
from models.contract.interval import Z95
from models.contract.metrics.catalogue import CATALOGUE
from models.contract.typical import ENOUGH, Differing, Typical, TypicalValue
from models.contract.vocabulary import RepetitionKind
from workers.decide.groups import Slot
from workers.decide.scatter import METRICS_A_MOVEMENT, Prior, moderated, prior_of

RISK = 0.05
"""Chance that anything at all is called different where nothing is."""
MEDIAN_LOSS = math.pi / 2
"""Variance of a median in variances of a mean, for many normal values; fewer lose less."""
_TINY = 1e-9
"""Stands for no scatter at all, in any unit."""


@dataclass(frozen=True, slots=True)
class _Row:
    """One metric: (number of the repetition, metric) of all that measure it."""

    slot: Slot
    found: tuple[tuple[int, Metric], ...]

    @property
    def values(self) -> list[float]:
        return [metric.value for _, metric in self.found if metric.value is not None]


def typical_of(repetitions: Sequence[Repetition]) -> Typical | None:
    """Return what several repetitions of one kind have in common; None for fewer than two.

    Of films with several kinds, the kind with most repetitions; of equal ones, serves.
    """
    groups: dict[RepetitionKind, list[int]] = {}
    for number, repetition in enumerate(repetitions, start=1):
        groups.setdefault(repetition.kind, []).append(number)
    if not groups:
        return None
    serve = RepetitionKind.SERVE
    kind = max(groups, key=lambda one: (len(groups[one]), one is serve))
    numbers = groups[kind]
    rows = _rows({number: repetitions[number - 1] for number in numbers})
    if len(numbers) < 2 or not rows:
        return None
    return Typical(
        kind=kind,
        numbers=tuple(numbers),
        most_typical=_nearest(rows, numbers),
        values=tuple(_value(row) for row in rows),
        differing=tuple(_differing(rows, numbers)),
    )


def _rows(repetitions: dict[int, Repetition]) -> list[_Row]:
    found: dict[Slot, list[tuple[int, Metric]]] = {}
    for number, repetition in repetitions.items():
        for metric in repetition.metrics:
            if metric.measurable and not CATALOGUE.yes_no(metric.key):
                found.setdefault((metric.key, metric.event), []).append((number, metric))
    return [_Row(slot, tuple(mine)) for slot, mine in found.items() if len(mine) >= 2]


def _value(row: _Row) -> TypicalValue:
    metric = row.found[0][1]
    values = row.values
    middle, scatter, alone = float(np.median(values)), _scatter(values), _measuring(row)
    total = float(np.mean([_error(m) ** 2 for _, m in row.found]))
    # what all repetitions of a film share does not shrink with their number
    common = total if alone is None else max(total - alone**2, 0.0)
    loss = MEDIAN_LOSS if len(values) > 2 else 1.0
    own = loss * max(scatter, alone or 0.0) ** 2 / len(values)
    half = Z95 * math.sqrt(common + own)
    lowest = min(m.low for _, m in row.found if m.low is not None)
    highest = max(m.high for _, m in row.found if m.high is not None)
    return TypicalValue(
        key=row.slot[0],
        event=row.slot[1],
        value=middle,
        low=max(middle - half, min(lowest, middle)),
        high=min(middle + half, max(highest, middle)),
        scatter=scatter,
        measuring=alone,
        unit=metric.unit,
        repetitions=len(values),
    )


def _nearest(rows: Sequence[_Row], numbers: Sequence[int]) -> int:
    """Return the repetition whose values lie nearest to the medians, in scatters."""
    away: dict[int, list[float]] = {number: [] for number in numbers}
    for row in rows:
        middle = float(np.median(row.values))
        scale = max(_scatter(row.values), _measuring(row) or 0.0, _TINY)
        for (number, _), value in zip(row.found, row.values, strict=True):
            away[number].append(abs(value - middle) / scale)
    measured = [number for number in numbers if 2 * len(away[number]) >= len(rows)]
    return min(measured or numbers, key=lambda number: float(np.mean(away[number] or [math.inf])))


def _differing(rows: Sequence[_Row], numbers: Sequence[int]) -> list[Differing]:
    """Return what sets a repetition apart, one repetition after the other."""
    enough = [row for row in rows if len(row.found) >= ENOUGH]
    tests = max(len(enough) / METRICS_A_MOVEMENT, 1.0) * len(numbers)
    found: list[Differing] = []
    for number in numbers:
        mine = [row for row in enough if number in dict(row.found)]
        prior = _prior(mine, number)
        for row in mine:
            value = dict(zip(dict(row.found), row.values, strict=True))[number]
            others = _others(row, number)
            middle = float(np.median(others))
            variance, dof = _variance(row, others, prior)
            spread = math.sqrt(variance * (1.0 + MEDIAN_LOSS / len(others)))
            limit = float(stats.t.ppf(1.0 - RISK / (2.0 * tests), dof))
            if abs(value - middle) > limit * max(spread, _TINY):
                key, event = row.slot
                unit = row.found[0][1].unit
                found.append(
                    Differing(
                        repetition=number,
                        key=key,
                        event=event,
                        value=value,
                        others=middle,
                        unit=unit,
                    )
                )
    return found


def _prior(rows: Sequence[_Row], number: int) -> Prior | None:
    """Return what all metrics say of the scatter of the other repetitions."""
    ratios, dofs = [], []
    for row in rows:
        alone = _measuring(row)
        if alone:
            others = _others(row, number)
            ratios.append(float(np.var(others, ddof=1)) / alone**2)
            dofs.append(len(others) - 1)
    return prior_of(ratios, dofs)


def _variance(row: _Row, others: Sequence[float], prior: Prior | None) -> tuple[float, float]:
    """Return the variance of one repetition about the others, and its degrees of freedom."""
    seen, dof = float(np.var(others, ddof=1)), len(others) - 1
    alone = _measuring(row)
    if alone and prior is not None:
        return moderated(seen, dof, alone**2, prior)
    least = alone if alone is not None else max(_error(metric) for _, metric in row.found)
    return max(seen, least**2), float(dof)


def _others(row: _Row, number: int) -> list[float]:
    pairs = zip(row.found, row.values, strict=True)
    return [value for (which, _), value in pairs if which != number]


def _scatter(values: Sequence[float]) -> float:
    """Return a standard deviation that one odd value of four or more does not rule."""
    if len(values) < 4:
        return float(np.std(values, ddof=1))
    return float(stats.median_abs_deviation(values, scale="normal"))


def _error(metric: Metric) -> float:
    assert metric.low is not None
    assert metric.high is not None
    return (metric.high - metric.low) / (2.0 * Z95)


def _measuring(row: _Row) -> float | None:
    """Return the standard deviation between repetitions that measuring alone gives, if known."""
    parts = [
        max(metric.repeat_sd**2 - metric.session_sd**2, 0.0)
        for _, metric in row.found
        if metric.repeat_sd is not None and metric.session_sd is not None
    ]
    return math.sqrt(float(np.mean(parts))) if len(parts) == len(row.found) else None
