"""Scatter between serves, steadied: what few serves cannot tell of one metric, all metrics tell.

Three or four serves a side say little of a metric's own scatter, and a t test with so few degrees
of freedom finds nothing. But films with known truth say how much serves of one session differ by
measurement alone, and all metrics together say how consistent the player is. Each metric's
variance is drawn towards what both foretell, by as much as the metrics agree.

Source: moderated variances, Stat Appl Genet Mol Biol 2004, 3(1), article 3, doi
10.2202/1544-6115.1027 (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import optimize, special

MIN_METRICS = 8
"""From fewer metrics, no player's consistency is judged."""
METRICS_A_MOVEMENT = 4.0
"""Metrics of one body move together: so many of them say as much as one independent one."""
_LIMIT = 0.84
"""The metrics agree at least as well as is believed, in four comparisons of five."""
_LEAST_RATIO = 1e-4
"""Ratios are held above this, so that equal values, of variance nothing, have a logarithm."""


@dataclass(frozen=True, slots=True)
class Prior:
    """What is foretold of a metric's variance between serves.

    Attributes
    ----------
    factor : float
        Times the variance that measurement alone gives; at least 1.
    dof : float
        Degrees of freedom it counts as.
    """

    factor: float
    dof: float


def prior_of(ratios: Sequence[float], dofs: Sequence[int]) -> Prior | None:
    """Return the prior from all metrics of a comparison, or None if they are too few.

    Parameters
    ----------
    ratios : sequence of float
        Sample variance of each metric over the variance by measurement alone.
    dofs : sequence of int
        Degrees of freedom of each sample variance, at least 1.

    Log ratios follow a shifted log-F distribution; its mean gives the factor and the upper limit
    of its spread the degrees of freedom.
    """
    if len(ratios) != len(dofs):
        raise ValueError("every ratio needs its degrees of freedom")
    if len(ratios) < MIN_METRICS:
        return None
    half = np.asarray(dofs, dtype=np.float64) / 2
    logs = np.log(np.maximum(np.asarray(ratios, dtype=np.float64), _LEAST_RATIO))
    centred = logs - special.digamma(half) + np.log(half)
    mean = float(np.mean(centred))
    spread = float(np.var(centred, ddof=1))
    least = float(np.mean(special.polygamma(1, half)))
    extra = max(spread - least, 0.0)
    unsure = math.sqrt(2.0 / (len(ratios) / METRICS_A_MOVEMENT - 1.0)) * max(spread, least)
    dof = 2.0 * trigamma_inverse(extra + _LIMIT * unsure)
    return Prior(factor=max(1.0, math.exp(mean)), dof=dof)


def trigamma_inverse(y: float) -> float:
    """Return x with trigamma(x) = y, for y > 0."""
    if y <= 0:
        raise ValueError("trigamma is positive")
    # trigamma(x) lies between 1/x and 1/x + 1/x^2
    low, high = 0.5 / y, 1.0 / y + 1.0 / math.sqrt(y) + 1.0
    return float(optimize.brentq(lambda x: float(special.polygamma(1, x)) - y, low, high))


def moderated(variance: float, dof: int, alone: float, prior: Prior) -> tuple[float, float]:
    """Return a metric's steadied variance between serves and its degrees of freedom.

    Parameters
    ----------
    variance : float
        Sample variance, 0 where ``dof`` is 0.
    dof : int
    alone : float
        Variance by measurement alone; the result is never below it.
    prior : Prior
    """
    total = prior.dof + dof
    mixed = (prior.dof * prior.factor * alone + dof * variance) / total
    return max(mixed, alone), total
