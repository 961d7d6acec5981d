"""Statistics of change: did it really change, and did it stick?

All functions are pure. "Standard error" is a standard uncertainty in the metric's own unit.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats

from models.contract.interval import Z95
from workers.decide.scatter import Prior, moderated, prior_of

SESSIONS_DOF, SINGLES_DOF = 12.0, 4.0
"""Differences of sessions, and of single serves, filmed from one place have heavier tails than a
normal error, about those of Student t with so many degrees of freedom: of 36 rendered players,
99.9 % within 4.5 and 9.7 standard errors (``python -m models.training.rendered.two_sessions``).
More serves than one show their own scatter."""
LEAST_SHOWN = 0.25
"""A smaller share is not undone: what films hardly show cannot be read out of them (working
value; values that tell less of a player are withheld)."""


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
    session : float or None
        The part of ``repeat`` that all films of one session share; None where not known.
    shown : float
        Share of a true change that films of one player show at least; 1 where not known.
    shown_usually : float
        Share of a true change that they usually show; 1 where not known.
    """

    mean: float
    n: int
    spread: float | None
    measurement: float
    repeat: float | None = None
    session: float | None = None
    shown: float = 1.0
    shown_usually: float = 1.0

    @property
    def alone(self) -> float:
        """Variance between serves of one session by measurement alone, as far as known."""
        if self.repeat is None or self.session is None:
            return 0.0
        return max(self.repeat**2 - self.session**2, 0.0)


def group_mean(
    values: Sequence[float],
    lows: Sequence[float],
    highs: Sequence[float],
    repeats: Sequence[float | None] = (),
    sessions: Sequence[float | None] = (),
    shown: Sequence[float | None] = (),
    shown_usually: Sequence[float | None] = (),
) -> GroupMean:
    """Summarise repetitions given as values with 95 % intervals, `Metric.repeat_sd`,
    `Metric.session_sd`, `Metric.shown_share` and `Metric.usual_shown_share`.
    """
    if not values or not len(values) == len(lows) == len(highs):
        raise ValueError("values, lows and highs must have one common length of at least 1")
    x = np.asarray(values, dtype=np.float64)
    half = (np.asarray(highs, dtype=np.float64) - np.asarray(lows, dtype=np.float64)) / 2
    if bool(np.any(half < 0)):
        raise ValueError("an interval ends before it begins")
    return GroupMean(
        mean=float(np.mean(x)),
        n=len(x),
        spread=float(np.std(x, ddof=1)) if len(x) > 1 else None,
        measurement=float(np.sqrt(np.mean((half / Z95) ** 2))),
        repeat=_root_mean_square(repeats, len(x)),
        session=_root_mean_square(sessions, len(x)),
        shown=_least(shown),
        shown_usually=_least(shown_usually),
    )


def _root_mean_square(values: Sequence[float | None], count: int) -> float | None:
    known = [v for v in values if v is not None]
    return float(np.sqrt(np.mean(np.square(known)))) if len(known) == count else None


def _least(shares: Sequence[float | None]) -> float:
    return min((share for share in shares if share is not None), default=1.0)


def measurement_error(group: GroupMean, one_place: bool) -> float:
    """Return the standard uncertainty by measurement that all serves of a group have in common."""
    if not one_place or group.repeat is None:
        return group.measurement
    return group.repeat if group.session is None else group.session


def standard_error(
    group: GroupMean, *, one_place: bool = False, prior: Prior | None = None
) -> float:
    """Return the standard error of a group's mean: scatter of repetitions plus measurement."""
    variance, _ = _between_serves((group,), one_place, prior)
    return math.sqrt(variance / group.n + measurement_error(group, one_place) ** 2)


def _between_serves(
    groups: Sequence[GroupMean], one_place: bool, prior: Prior | None
) -> tuple[float, float]:
    """Return the pooled variance between serves and its degrees of freedom (inf = known)."""
    variance, dof = _pooled(groups)
    alone = float(np.mean([g.alone for g in groups])) if one_place else 0.0
    if dof == 0:
        return alone, math.inf
    if alone > 0 and prior is not None:
        return moderated(variance, dof, alone, prior)
    return max(variance, alone), float(dof)


def _pooled(groups: Sequence[GroupMean]) -> tuple[float, int]:
    spreads = [(g.spread, g.n) for g in groups if g.spread is not None]
    dof = sum(n - 1 for _, n in spreads)
    return (sum((n - 1) * s * s for s, n in spreads) / dof if dof else 0.0), dof


def consistency(pairs: Sequence[tuple[GroupMean, GroupMean]]) -> Prior | None:
    """Return what all metrics of a comparison say of the scatter between serves.

    One pair of group means a metric, of one player from one camera place; None where too few
    metrics have more than one serve and a known error of measurement.
    """
    ratios, dofs = [], []
    for pair in pairs:
        variance, dof = _pooled(pair)
        alone = (pair[0].alone + pair[1].alone) / 2
        if dof and alone > 0:
            ratios.append(variance / alone)
            dofs.append(dof)
    return prior_of(ratios, dofs)


@dataclass(frozen=True, slots=True)
class Difference:
    """Second minus first, as a true change; ``shown`` is the least share of it that is shown after
    what is usually missing was undone.
    """

    value: float
    standard_error: float
    degrees_of_freedom: float
    low: float
    high: float
    p_value: float
    typical_error: float
    mdc95: float
    shown: float = 1.0


def difference(
    first: GroupMean,
    second: GroupMean,
    *,
    one_place: bool = False,
    prior: Prior | None = None,
) -> Difference:
    """Compare two group means.

    The error has two parts: scatter between repetitions (pooled, shrinks with the count, Student
    t with its degrees of freedom) and measurement (does not shrink with the count).

    Parameters
    ----------
    first, second : GroupMean
    one_place : bool
        Both sides show one player from one camera place: what errs alike in both drops out of the
        difference, and what the serves of one session share (`GroupMean.session`) is left, beside
        the scatter between serves.
    prior : Prior or None
        What all metrics say of the scatter between serves (`consistency`).

    A value from film is the mean of what could be, which shows less of a change than there is by
    a known share. Between films of one place that share is undone: the difference, its error and
    its interval are those of the true change, and how unsurely the share is known lets the
    interval reach further away from nothing. Whether anything changed (``p_value``) does not
    depend on it.

    Source: two-sample t with pooled variance; degrees of freedom by Welch-Satterthwaite with the
    measurement part taken as exactly known (JCGM 100:2008, annex G), but never more than
    `SESSIONS_DOF` for films of one place.
    """
    variance, dof_scatter = _between_serves((first, second), one_place, prior)
    var_scatter = variance * (1 / first.n + 1 / second.n)
    u1, u2 = (measurement_error(group, one_place) for group in (first, second))
    se = math.sqrt(var_scatter + u1 * u1 + u2 * u2)
    if not math.isfinite(dof_scatter):
        dof = SINGLES_DOF if one_place and first.alone > 0 else math.inf
    else:
        dof = math.inf if var_scatter == 0 else dof_scatter * (se**2 / var_scatter) ** 2
    if one_place and first.repeat is not None:
        dof = min(dof, SESSIONS_DOF)
    value = second.mean - first.mean
    quantile = float(stats.t.ppf(0.975, dof)) if math.isfinite(dof) else Z95
    if se == 0:
        p_value = 1.0 if value == 0 else 0.0
    else:
        ratio = abs(value) / se
        p_value = float(
            2 * (stats.t.sf(ratio, dof) if math.isfinite(dof) else stats.norm.sf(ratio))
        )
    usual, least = _shown(first, second) if one_place else (1.0, 1.0)
    value, se, half = value / usual, se / usual, quantile * se / usual
    far = math.hypot(half, value * (1.0 / least - 1.0))
    return Difference(
        value=value,
        standard_error=se,
        degrees_of_freedom=dof,
        low=value - (far if value < 0 else half),
        high=value + (half if value < 0 else far),
        p_value=p_value,
        typical_error=math.sqrt(variance + (u1 * u1 + u2 * u2) / 2) / usual,
        mdc95=half,
        shown=least,
    )


def _shown(first: GroupMean, second: GroupMean) -> tuple[float, float]:
    """Return the share of a change that is usually shown, and the least of what is left of it."""
    least = min(first.shown, second.shown)
    usual = max(least, min(first.shown_usually, second.shown_usually), LEAST_SHOWN)
    return usual, min(least / usual, 1.0)


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


def holm(p_values: Sequence[float], weights: Sequence[float] | None = None) -> list[float]:
    """Return Holm-adjusted p-values in the order given.

    ``weights`` share the risk of a false alarm out; they are positive, and equal by default.
    Source: Scand J Stat 1979, 6(2):65-70, there with weights, too.
    """
    shares = [1.0] * len(p_values) if weights is None else list(weights)
    if len(shares) != len(p_values) or any(share <= 0 for share in shares):
        raise ValueError("every p-value needs a positive weight")
    order = sorted(range(len(p_values)), key=lambda i: p_values[i] / shares[i])
    adjusted = [0.0] * len(p_values)
    running, left = 0.0, math.fsum(shares)
    for i in order:
        running = max(running, min(1.0, left / shares[i] * p_values[i]))
        adjusted[i] = running
        left -= shares[i]
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
