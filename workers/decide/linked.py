"""Which changes go together: by part of the body, and by how they move between serves."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy import stats

from models.contract.analysis import Repetition
from models.contract.comparison import LinkedChange, MetricDifference, Verdict
from models.contract.metrics.catalogue import CATALOGUE
from models.contract.metrics.definition import BodyPart
from workers.decide.groups import in_slot

MIN_FOR_CORRELATION = 5
"""Serves a side from which correlations are worked out (working value, not tried
systematically)."""


def linked(
    rows: Sequence[MetricDifference], ones: Sequence[Repetition], twos: Sequence[Repetition]
) -> tuple[LinkedChange, ...]:
    """Group changed metrics by body part, with how closely they move together."""
    changed = [r for r in rows if r.verdict == Verdict.SURELY_CHANGED]
    out = []
    for part in BodyPart:
        members = [r for r in changed if CATALOGUE.part(r.key) is part]
        if members:
            out.append(
                LinkedChange(
                    part=part,
                    keys=tuple(dict.fromkeys(r.key for r in members)),
                    correlation=_correlation(members, ones, twos),
                )
            )
    return tuple(out)


def _correlation(
    members: Sequence[MetricDifference], ones: Sequence[Repetition], twos: Sequence[Repetition]
) -> float | None:
    """Return the mean absolute Spearman correlation, each side's mean removed first."""
    columns = []
    for row in members:
        centred: list[float] = []
        for reps in (ones, twos):
            values = [m.value for m in in_slot(reps, row.key, row.event)]
            if any(v is None for v in values) or len(values) != len(reps):
                return None
            numbers = [v for v in values if v is not None]
            centred.extend(v - float(np.mean(numbers)) for v in numbers)
        columns.append(centred)
    if len(columns) < 2 or len(columns[0]) < MIN_FOR_CORRELATION:
        return None
    found = [
        abs(float(stats.spearmanr(columns[i], columns[j]).statistic))
        for i in range(len(columns))
        for j in range(i)
        if len(set(columns[i])) > 1 and len(set(columns[j])) > 1
    ]
    return float(np.mean(found)) if found else None
