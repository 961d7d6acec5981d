"""Which changes go together: by part of the body, and by how they move between serves."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np
from scipy import stats

from models.contract.analysis import Repetition
from models.contract.comparison import LinkedChange, MetricDifference, Verdict
from workers.decide.groups import in_slot

Part = Literal["legs_and_weight", "pelvis_and_trunk", "arms", "timing", "ball_and_contact"]

MIN_FOR_CORRELATION = 5

_PARTS: tuple[tuple[Part, tuple[str, ...]], ...] = (
    ("ball_and_contact", ("contact_", "toss_", "throw_")),
    ("timing", ("tempo", "sequence")),
    ("arms", ("elbow", "shoulder_elevation", "tossing_arm", "wrist")),
    (
        "legs_and_weight",
        (
            "rear_foot",
            "rear_hip",
            "rear_load",
            "front_hip",
            "knee",
            "front_knee",
            "rear_knee",
            "leg_",
        ),
    ),
    ("pelvis_and_trunk", ("",)),
)


def part_of(key: str) -> Part:
    """Return the body part a metric key belongs to."""
    for part, prefixes in _PARTS:
        if key.startswith(prefixes):
            return part
    raise AssertionError("the last entry matches every key")


def linked(
    rows: Sequence[MetricDifference], ones: Sequence[Repetition], twos: Sequence[Repetition]
) -> tuple[LinkedChange, ...]:
    """Group changed metrics by body part, with how closely they move together."""
    changed = [r for r in rows if r.verdict == Verdict.CHANGED]
    out = []
    for part, _ in _PARTS:
        members = [r for r in changed if part_of(r.key) == part]
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
