"""One theory of verdicts: what is shown as the threshold is what decides.

Holm's procedure rejects down to one step and no further. All its decisions are therefore those of
one cut, known when it stops: a metric of weight w is surely changed where its p-value is at most
0.05 w over the weights that are left then, and never more than 0.05. That level gives each metric
a least difference in its own unit, which is stated, and which decides.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from scipy import stats

from models.contract.comparison import Direction, MetricDifference, Verdict
from models.contract.metrics.catalogue import CATALOGUE
from models.contract.metrics.definition import metric_name
from models.contract.metrics.possible import largest_change
from models.contract.note import note
from models.contract.note_codes import NoteCode
from models.contract.plan import PracticeRules
from workers.decide import statistics as st
from workers.decide.power import detectable

ALPHA = 0.05
"""Risk that a comparison in which nothing moved calls anything surely changed, and that one metric
in which nothing moved is called probably changed (common practice)."""
CHANGED = frozenset({Verdict.SURELY_CHANGED, Verdict.PROBABLY_CHANGED})

Row = tuple[MetricDifference, st.Difference | None]
"""A metric's row, with the difference it states where one was worked out."""


@dataclass(frozen=True, slots=True)
class Judged:
    """What may be said of one difference; the figures in its unit, None where it has none."""

    verdict: Verdict
    threshold: float | None
    detectable: float | None


def risks(p_values: Sequence[float], weights: Sequence[float]) -> list[float]:
    """Return the risk of a false alarm at which Holm's procedure decides each hypothesis."""
    left = math.fsum(weights)
    for i in sorted(range(len(p_values)), key=lambda i: p_values[i] / weights[i]):
        if p_values[i] > min(ALPHA, ALPHA * weights[i] / left):
            break
        rest = left - weights[i]
        if rest <= 1e-12:  # all are rejected: the last one's level stands
            break
        left = rest
    return [min(ALPHA, ALPHA * weight / left) for weight in weights]


def judge(key: str, difference: st.Difference, risk: float) -> Judged:
    """Return the verdict on one difference, tested at a risk of a false alarm.

    A difference, or a change that is the least to be seen, beyond the possible range of the metric
    cannot be told.
    """
    d, dof = difference, difference.degrees_of_freedom
    quantile = float(stats.t.isf(risk / 2, dof) if math.isfinite(dof) else stats.norm.isf(risk / 2))
    threshold = max(quantile * d.standard_error, d.mdc95)
    least = detectable(d, risk)
    span = largest_change(key)
    moved = d.value != 0.0
    if span is not None and abs(d.value) > span:
        return Judged(Verdict.CANNOT_TELL, None, None)
    if moved and abs(d.value) >= threshold:
        verdict = Verdict.SURELY_CHANGED
    elif moved and abs(d.value) >= d.mdc95:
        verdict = Verdict.PROBABLY_CHANGED
    elif span is not None and least > span:
        return Judged(Verdict.CANNOT_TELL, None, None)
    else:
        verdict = Verdict.NO_CHANGE_SEEN
    within = span is None or least <= span
    shown = threshold if span is None or threshold <= span else None
    return Judged(verdict, shown, least if within else None)


def judged(found: Sequence[Row], goals: Mapping[str, int]) -> list[MetricDifference]:
    """Give every row with a p-value its adjusted one, its threshold, its verdict and direction.

    Parameters
    ----------
    found : sequence of Row
        Rows with unadjusted p-values; half of the risk goes to the rows of the focus.
    goals : mapping of str to int
        By ``key@event``: +1 where more is the goal, -1 where less is (`goals_of`).
    """
    tested = [row for row, _ in found if row.p_value is not None]
    plain = [row.p_value for row in tested if row.p_value is not None]
    weights = shares([row.focus for row in tested])
    each = iter(zip(plain, st.holm(plain, weights), risks(plain, weights), strict=True))
    rows = []
    for row, difference in found:
        if row.p_value is not None:
            p_value, adjusted, risk = next(each)
            if difference is None:
                row = row.model_copy(
                    update={"p_value": adjusted, "verdict": _by_share(p_value, adjusted)}
                )
            else:
                row = _with(row, judge(row.key, difference, risk), adjusted)
            row = row.model_copy(update={"direction": _direction(row, goals)})
        rows.append(row)
    return agreeing(rows)


def shares(focus: Sequence[bool]) -> list[float]:
    """Return the weights of hypotheses: half of the risk goes to the focus, where there is one."""
    named = sum(focus)
    if not 0 < named < len(focus):
        return [1.0] * len(focus)
    return [0.5 / (named if one else len(focus) - named) for one in focus]


def _by_share(p_value: float, adjusted: float) -> Verdict:
    if adjusted <= ALPHA:
        return Verdict.SURELY_CHANGED
    return Verdict.PROBABLY_CHANGED if p_value <= ALPHA else Verdict.NO_CHANGE_SEEN


def _with(row: MetricDifference, found: Judged, adjusted: float) -> MetricDifference:
    if found.verdict is Verdict.CANNOT_TELL:
        return untold(row, NoteCode.CHANGE_BEYOND_RANGE)
    span = largest_change(row.key) or math.inf
    return row.model_copy(
        update={
            "p_value": adjusted,
            "verdict": found.verdict,
            "threshold": found.threshold,
            "detectable": found.detectable,
            "low": None if row.low is None else max(row.low, -span),
            "high": None if row.high is None else min(row.high, span),
        }
    )


def untold(row: MetricDifference, why: NoteCode, other: str | None = None) -> MetricDifference:
    """Return a row of which nothing is said: no figure of it stands that could be read as one."""
    nothing = dict.fromkeys(
        (
            *("difference", "low", "high", "typical_error", "mdc95", "threshold"),
            *("detectable", "p_value", "direction"),
        )
    )
    said = {"verdict": Verdict.CANNOT_TELL, "reason": note(why), "judged_with": other}
    return row.model_copy(update=nothing | said)


def agreeing(rows: Sequence[MetricDifference]) -> list[MetricDifference]:
    """Let readings of one movement not contradict each other: the surest one speaks for it.

    The correction for many metrics covers the choice of the surest.
    """
    groups: dict[str, list[MetricDifference]] = {}
    for row in rows:
        groups.setdefault(CATALOGUE.movement(row.key), []).append(row)
    leaders = {
        movement: max(members, key=_sureness)
        for movement, members in groups.items()
        if len({row.key for row in members}) > 1
    }
    return [_beside(row, leaders.get(CATALOGUE.movement(row.key))) for row in rows]


def _sureness(row: MetricDifference) -> tuple[int, float]:
    order = (Verdict.NO_CHANGE_SEEN, Verdict.PROBABLY_CHANGED, Verdict.SURELY_CHANGED)
    if row.verdict not in order or row.difference is None:
        return -1, 0.0
    return order.index(row.verdict), abs(row.difference) / (row.threshold or 1.0)


def _beside(row: MetricDifference, leader: MetricDifference | None) -> MetricDifference:
    if leader is None or row is leader or leader.verdict not in CHANGED:
        return row
    if row.verdict is Verdict.CANNOT_TELL:
        return row
    alike = (row.difference or 0.0) * (leader.difference or 0.0) > 0
    if row.verdict in CHANGED and alike:
        return row
    return untold(row, NoteCode.OTHER_READING, metric_name(leader.key, leader.event))


def goals_of(rules: PracticeRules) -> dict[str, int]:
    """Return which way each metric at an event should move by the rules: out of the finding."""
    return {
        metric_name(key, one.event): 1 if one.is_ == "<=" else -1
        for one in rules.findings
        for key in (one.metric, one.otherwise)
        if key is not None
    }


def _direction(row: MetricDifference, goals: Mapping[str, int]) -> Direction | None:
    goal = goals.get(metric_name(row.key, row.event), goals.get(row.key))
    if goal is None or not row.difference or row.verdict not in CHANGED:
        return None
    return Direction.TOWARDS if row.difference * goal > 0 else Direction.AWAY
