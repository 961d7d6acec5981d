"""Statistics of change: did it really change, and did it stick?

All functions are pure. "Standard error" is a standard uncertainty in the metric's own unit.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats

Z95 = 1.959963984540054
"""Two-sided 95 % point of the standard normal distribution."""


def typical_error(differences: Sequence[float]) -> float:
    """Return SD(differences) / sqrt(2): the within-player error of one value.

    Source: Sports Med 2000, 30(1):1-15 (from memory); worked example in the tests.
    """
    if len(differences) < 2:
        raise ValueError("the typical error needs at least two differences")
    return float(np.std(differences, ddof=1) / math.sqrt(2))


def standard_error_of_measurement(sd: float, icc: float) -> float:
    """Return SD * sqrt(1 - ICC). Source: J Strength Cond Res 2005, 19(1):231-240 (from memory)."""
    if sd < 0 or not 0 <= icc <= 1:
        raise ValueError("sd must not be negative and icc must lie in 0..1")
    return sd * math.sqrt(1 - icc)


def mdc95(sem: float, n_first: int = 1, n_second: int = 1) -> float:
    """Return the minimal detectable change of a difference of two means, 95 %.

    For single values it is 1.96 * sqrt(2) * SEM.
    """
    if sem < 0 or n_first < 1 or n_second < 1:
        raise ValueError("sem must not be negative and both counts must be at least 1")
    return Z95 * sem * math.sqrt(1 / n_first + 1 / n_second)


def limits_of_agreement(differences: Sequence[float]) -> tuple[float, float, float]:
    """Return (bias, lower, upper): bias +- 1.96 SD. Source: Lancet 1986, 1:307-310."""
    if len(differences) < 2:
        raise ValueError("limits of agreement need at least two differences")
    bias = float(np.mean(differences))
    half = Z95 * float(np.std(differences, ddof=1))
    return bias, bias - half, bias + half


@dataclass(frozen=True, slots=True)
class GroupMean:
    """Mean of one metric over repetitions.

    Attributes
    ----------
    mean : float
    n : int
    spread : float or None
        Standard deviation between repetitions (ddof 1); None for a single one.
    measurement : float
        Standard uncertainty of one value by measurement (from its 95 % interval). Repetitions of
        one clip share the camera, so it is taken as common to all of them and not averaged away.
    repeat : float or None
        The part of ``measurement`` that differs between films of one player from one camera
        place; None where not known.
    """

    mean: float
    n: int
    spread: float | None
    measurement: float
    repeat: float | None = None


def group_mean(
    values: Sequence[float],
    lows: Sequence[float],
    highs: Sequence[float],
    repeats: Sequence[float | None] = (),
) -> GroupMean:
    """Summarise repetitions given as values with 95 % intervals, and `Metric.repeat_sd`."""
    if not values or not len(values) == len(lows) == len(highs):
        raise ValueError("values, lows and highs must have one common length of at least 1")
    x = np.asarray(values, dtype=np.float64)
    half = (np.asarray(highs, dtype=np.float64) - np.asarray(lows, dtype=np.float64)) / 2
    if bool(np.any(half < 0)):
        raise ValueError("an interval ends before it begins")
    known = [r for r in repeats if r is not None]
    return GroupMean(
        mean=float(np.mean(x)),
        n=len(x),
        spread=float(np.std(x, ddof=1)) if len(x) > 1 else None,
        measurement=float(np.sqrt(np.mean((half / Z95) ** 2))),
        repeat=float(np.sqrt(np.mean(np.square(known)))) if len(known) == len(x) else None,
    )


def measurement_error(group: GroupMean, one_place: bool) -> float:
    """Return the standard uncertainty by measurement that counts when groups are compared."""
    return group.repeat if one_place and group.repeat is not None else group.measurement


def standard_error(group: GroupMean, *, one_place: bool = False) -> float:
    """Return the standard error of a group's mean: scatter of repetitions plus measurement."""
    scatter = 0.0 if group.spread is None else group.spread / math.sqrt(group.n)
    return math.hypot(scatter, measurement_error(group, one_place))


@dataclass(frozen=True, slots=True)
class Difference:
    """Second minus first."""

    value: float
    standard_error: float
    degrees_of_freedom: float
    low: float
    high: float
    p_value: float
    typical_error: float
    mdc95: float


def difference(first: GroupMean, second: GroupMean, *, one_place: bool = False) -> Difference:
    """Compare two group means.

    The error has two parts: scatter between repetitions (pooled, shrinks with the count, Student
    t with its degrees of freedom) and measurement (does not shrink with the count).

    Parameters
    ----------
    first, second : GroupMean
    one_place : bool
        Both sides show one player from one camera place: what errs alike in both drops out of the
        difference, and `GroupMean.repeat` is what is left.

    Source: two-sample t with pooled variance; degrees of freedom by Welch-Satterthwaite with the
    measurement part taken as exactly known (JCGM 100:2008, annex G).
    """
    spreads = [(g.spread, g.n) for g in (first, second) if g.spread is not None]
    dof_scatter = sum(n - 1 for _, n in spreads)
    scatter = (
        math.sqrt(sum((n - 1) * s * s for s, n in spreads) / dof_scatter) if dof_scatter else 0.0
    )
    var_scatter = scatter**2 * (1 / first.n + 1 / second.n)
    u1, u2 = (measurement_error(group, one_place) for group in (first, second))
    var_measurement = u1 * u1 + u2 * u2
    se = math.sqrt(var_scatter + var_measurement)
    dof = math.inf if var_scatter == 0 else dof_scatter * (se**2 / var_scatter) ** 2
    value = second.mean - first.mean
    quantile = float(stats.t.ppf(0.975, dof)) if math.isfinite(dof) else Z95
    if se == 0:
        p_value = 1.0 if value == 0 else 0.0
    else:
        ratio = abs(value) / se
        p_value = float(
            2 * (stats.t.sf(ratio, dof) if math.isfinite(dof) else stats.norm.sf(ratio))
        )
    return Difference(
        value=value,
        standard_error=se,
        degrees_of_freedom=dof,
        low=value - quantile * se,
        high=value + quantile * se,
        p_value=p_value,
        typical_error=math.sqrt(scatter**2 + (u1 * u1 + u2 * u2) / 2),
        mdc95=quantile * se,
    )


def share_p_value(first: Sequence[float], second: Sequence[float]) -> float:
    """Return the two-sided p-value that two groups of yes/no values (1, 0) share one proportion.

    Fisher's exact test: it holds for the few repetitions there are, where a normal interval of a
    share does not. Source: J R Stat Soc 1922, 85(1):87-94 (from memory).
    """
    if not first or not second:
        raise ValueError("both groups need at least one value")
    yes = [sum(1 for value in group if value >= 0.5) for group in (first, second)]
    table = np.array([[yes[0], len(first) - yes[0]], [yes[1], len(second) - yes[1]]])
    return float(stats.fisher_exact(table).pvalue)


def holm(p_values: Sequence[float]) -> list[float]:
    """Return Holm-adjusted p-values in the order given. Source: Scand J Stat 1979, 6(2):65-70."""
    order = sorted(range(len(p_values)), key=lambda i: p_values[i])
    adjusted = [0.0] * len(p_values)
    running = 0.0
    for rank, i in enumerate(order):
        running = max(running, min(1.0, (len(p_values) - rank) * p_values[i]))
        adjusted[i] = running
    return adjusted


def retention_score(
    baseline: float, acquisition: float, retention: float, standard_error: float
) -> tuple[float, float]:
    """Return the retention score R and its standard error.

    R = (retention - baseline) / (acquisition - baseline); with equal independent standard errors s
    of the three means, s_R = s / |gain| * sqrt(1 + R^2 + (1 - R)^2) (first-order propagation).

    Raises ``ValueError`` when there is no gain at all; a caller first checks the gain against its
    minimal detectable change.
    """
    gain = acquisition - baseline
    if gain == 0:
        raise ValueError("no gain: the retention score is undefined")
    score = (retention - baseline) / gain
    return score, standard_error / abs(gain) * math.sqrt(1 + score**2 + (1 - score) ** 2)
