"""How likely it is that enough repetitions truly meet a condition, by the uncertainty of values."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from models.contract.analysis import Metric
from models.contract.interval import Z95
from models.contract.thresholds import Relation

_NODES = stats.norm.ppf((np.arange(1001) + 0.5) / 1001)
"""Equally likely places of a standard normal: probabilities of steps are off by 0.0005 at most."""
_LEAST_SD = 1e-9
"""Held above nothing, so that a value without error is a step."""


@dataclass(frozen=True, slots=True)
class Margin:
    """One repetition against a condition.

    Attributes
    ----------
    past : float
        How far the value lies past the threshold; negative = short of it.
    shared, own : float
        Standard uncertainties in the same unit: what all films of one occasion err alike, and what
        differs from repetition to repetition.
    """

    past: float
    shared: float
    own: float


def margin(metric: Metric, relation: Relation, threshold: float) -> Margin | None:
    """Return a value against a condition; None where there is no value.

    The part that differs between repetitions is what ``repeat_sd`` holds beyond ``session_sd``;
    where these are not known, all of the error is taken as shared.
    """
    if metric.value is None or metric.low is None or metric.high is None:
        return None
    whole = (metric.high - metric.low) / (2.0 * Z95)
    own = 0.0
    if metric.repeat_sd is not None and metric.session_sd is not None:
        own = min(max(metric.repeat_sd**2 - metric.session_sd**2, 0.0) ** 0.5, whole)
    past = metric.value - threshold if relation == ">=" else threshold - metric.value
    return Margin(past, max(whole**2 - own**2, 0.0) ** 0.5, own)


def counts(margins: Sequence[Margin]) -> NDArray[np.float64]:
    """Return the probabilities that 0, 1, ... of the repetitions truly meet the condition.

    Given the shared error, repetitions meet it independently (Poisson binomial distribution, by
    its recurrence); the shared error is integrated out.
    """
    spread = np.zeros((len(_NODES), len(margins) + 1))
    spread[:, 0] = 1.0
    for one in margins:
        true = one.past - _NODES * one.shared
        meets = stats.norm.cdf(true / max(one.own, _LEAST_SD))[:, None]
        more = spread[:, :-1] * meets
        spread *= 1.0 - meets
        spread[:, 1:] += more
    found: NDArray[np.float64] = np.mean(spread, axis=0)
    return found
