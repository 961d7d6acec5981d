"""Serves of one session filmed from several places: which films are of one place, and how what the
places say of a metric makes one value.

A value errs by what differs from serve to serve, by what all films of its place have in common (the
camera's place, how landmarks are seen from there, what was learned of that view), and of that by a
part that other places err alike, too: standing height, proportions, what is usual of players. The
last does not shrink with places. Weights are those of generalised least squares (Aitken 1935, Proc
R Soc Edinb 55:42-48, from memory) over the places' means, none below nothing; where places
disagree the variance grows by chi-square over its degrees of freedom (Birge 1932, Phys Rev
40:207-227, from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats

from models.contract.analysis import Analysis, Metric
from models.contract.frame_rate import rate_class
from models.contract.interval import Z95
from models.contract.tracks import FloatArray
from models.contract.vocabulary import View
from workers.decide.place import AZIMUTH_DEG

ALIKE = 0.7
"""Share of the common error of two places that both have alike: height, proportions, instants that
are found early or late from everywhere (drawn sessions of the tuning seeds gave 0.67 to 0.74;
`python -m models.training sessions --tuning`)."""


UNLIKELY = 0.05
"""Chance below which places are taken to disagree, and variances grow (common practice)."""


@dataclass(frozen=True, slots=True)
class Place:
    """A camera place: rows of the analyses that were filmed from it."""

    rows: tuple[int, ...]
    view: View
    azimuth_deg: float | None
    both_views: bool


@dataclass(frozen=True, slots=True)
class PlaceMean:
    """What one place says of a metric.

    Attributes
    ----------
    mean : float
    n : int
    common, own : float
        Variance that its serves have in common, and that each has for itself, by measurement.
    spread : float or None
        Standard deviation between its serves (ddof 1); None for one.
    """

    mean: float
    n: int
    common: float
    own: float
    spread: float | None


@dataclass(frozen=True, slots=True)
class Together:
    """Several places as one value.

    Attributes
    ----------
    value, sd : float
    weights : ndarray, shape (P,)
        Not negative; they add up to 1.
    own_sd : ndarray, shape (P,)
        Standard uncertainty of each place alone.
    disagreement : float or None
        Chance that places which agree differ so much; None for one place.
    """

    value: float
    sd: float
    weights: FloatArray
    own_sd: FloatArray
    disagreement: float | None


def places_of(analyses: Sequence[Analysis]) -> list[Place]:
    """Group films by camera place: azimuths that lie together, at one class of frame rate.

    A serve that two cameras filmed at once is of a place of its own. Films of which only the view
    is known are of one place where it is the same: what they err alike is not known to differ.
    """
    found: list[list[int]] = []
    order = sorted(range(len(analyses)), key=lambda i: _azimuth(analyses[i]))
    for i in order:
        fits = [g for g in found if all(_one_place(analyses[i], analyses[j]) for j in g)]
        if fits:
            fits[-1].append(i)
        else:
            found.append([i])
    return [_place(sorted(rows), analyses) for rows in sorted(found, key=min)]


def _azimuth(analysis: Analysis) -> float:
    return -1.0 if analysis.view.azimuth_deg is None else analysis.view.azimuth_deg % 360.0


def _one_place(one: Analysis, two: Analysis) -> bool:
    first, second = one.view.azimuth_deg, two.view.azimuth_deg
    near = one.view.label is two.view.label
    if first is not None and second is not None:
        near = abs((first - second + 180.0) % 360.0 - 180.0) <= AZIMUTH_DEG
    rates = {rate_class(a.clip.frame_rate) for a in (one, two)}
    both = (one.second_view is None) == (two.second_view is None)
    return near and len(rates) == 1 and both


def _place(rows: Sequence[int], analyses: Sequence[Analysis]) -> Place:
    first = analyses[rows[0]]
    known = [a.view.azimuth_deg for a in (analyses[i] for i in rows)]
    azimuth = None
    if all(one is not None for one in known):
        turns = np.exp(1j * np.radians(np.array(known, dtype=float)))
        azimuth = round(float(np.degrees(np.angle(turns.mean()))) % 360.0, 1)
    labels = [analyses[i].view.label for i in rows]
    label = max(dict.fromkeys(labels), key=labels.count)
    return Place(tuple(rows), label, azimuth, first.second_view is not None)


def place_mean(metrics: Sequence[Metric]) -> PlaceMean | None:
    """Return what the films of one place say of a metric; None where none measures it."""
    used = [m for m in metrics if m.measurable]
    values, commons, owns = [], [], []
    for metric in used:
        assert metric.value is not None
        assert metric.low is not None
        assert metric.high is not None
        total = ((metric.high - metric.low) / (2.0 * Z95)) ** 2
        own = 0.0
        if metric.repeat_sd is not None and metric.session_sd is not None:
            own = min(max(metric.repeat_sd**2 - metric.session_sd**2, 0.0), total)
        values.append(metric.value)
        commons.append(total - own)
        owns.append(own)
    if not values:
        return None
    return PlaceMean(
        float(np.mean(values)),
        len(values),
        float(np.mean(commons)),
        float(np.mean(owns)),
        float(np.std(values, ddof=1)) if len(values) > 1 else None,
    )


def together(means: Sequence[PlaceMean], alike: float = ALIKE) -> Together:
    """Return one value of what several places say.

    Serves differ from each other as much as is seen within the places, and at least as measuring
    alone makes them differ.

    Parameters
    ----------
    alike : float
        Share of the common error of two places that both have.

    Raises
    ------
    ValueError
        Without any place.
    """
    if not means:
        raise ValueError("no place measures it")
    seen = [(m.spread, m.n - 1) for m in means if m.spread is not None]
    dof = sum(count for _, count in seen)
    scatter = sum(count * spread**2 for spread, count in seen) / dof if dof else 0.0
    common = np.sqrt(np.array([m.common for m in means]))
    serves = np.array([max(scatter, m.own) / m.n for m in means])
    covariance = alike * np.outer(common, common)
    np.fill_diagonal(covariance, common**2 + serves)
    values = np.array([m.mean for m in means])
    weights = _weights(covariance)
    value = float(weights @ values)
    variance = float(weights @ covariance @ weights)
    chance = None
    if len(means) > 1:
        square, free = _apart(values, covariance)
        chance = float(stats.chi2.sf(square, free))
        variance *= excess(square, free)
    return Together(value, math.sqrt(variance), weights, np.sqrt(np.diag(covariance)), chance)


def excess(square: float, free: int) -> float:
    """Return by how much a variance grows where places disagree: chi-square over its degrees of
    freedom, where chance alone seldom gives so much.
    """
    return square / free if float(stats.chi2.sf(square, free)) < UNLIKELY else 1.0


def _weights(covariance: FloatArray) -> FloatArray:
    """Return the weights of least variance, none negative, (P,)."""
    kept = list(range(len(covariance)))
    while True:
        part = covariance[np.ix_(kept, kept)]
        # exact values have no variance: a share of the largest keeps the matrix solvable
        part = part + np.eye(len(kept)) * (1e-9 * float(np.trace(part)) + 1e-18)
        inner = np.linalg.solve(part, np.ones(len(kept)))
        inner /= inner.sum()
        if inner.min() >= 0.0:
            break
        del kept[int(np.argmin(inner))]
    weights = np.zeros(len(covariance))
    weights[kept] = inner
    return weights


def _apart(values: FloatArray, covariance: FloatArray) -> tuple[float, int]:
    """Return chi-square of the differences between places and its degrees of freedom."""
    differences = values[1:] - values[0]
    step = np.hstack([-np.ones((len(values) - 1, 1)), np.eye(len(values) - 1)])
    spread = step @ covariance @ step.T
    spread = spread + np.eye(len(spread)) * (1e-9 * float(np.trace(spread)) + 1e-18)
    square = float(differences @ np.linalg.solve(spread, differences))
    return square, len(differences)
