"""Means and differences of sides whose serves were filmed from one place or several.

A side filmed from several places has one mean (`places.together`). Where both sides were filmed
from the same places, the difference is taken place by place, so that what the films of a place err
alike drops out of it, and the places' differences make one.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import stats as distributions

from models.contract.analysis import Analysis, Metric, Repetition
from models.contract.interval import Z95
from models.contract.vocabulary import RepetitionKind
from workers.decide import statistics as st
from workers.decide.groups import Slot, in_slot, mean_of
from workers.decide.place import one_place, read_alike, strays
from workers.decide.places import excess, place_mean, places_of, together
from workers.decide.scatter import Prior


@dataclass(frozen=True, slots=True)
class Placed:
    """The films of one side from one place. ``place``: equal numbers are one place."""

    place: int
    films: tuple[Analysis, ...]
    kind: RepetitionKind

    def metrics(self, slot: Slot) -> list[Metric]:
        """Return a metric of every repetition that has it."""
        held: list[Repetition] = [
            r for film in self.films for r in film.repetitions if r.kind is self.kind
        ]
        return in_slot(held, *slot)


def placed(
    sides: Sequence[Sequence[Analysis]], kind: RepetitionKind, *, alike: bool
) -> list[list[Placed]]:
    """Return the films of each side by place.

    Parameters
    ----------
    alike : bool
        All films show one player, and one engine made the results: films of a place are then read
        as from one view (`place.read_alike`). A few films that stray from the place of all others
        stay with them.
    """
    films = [film for side in sides for film in side]
    if not films:
        return [[] for _ in sides]
    rows = [list(range(len(films)))]
    if not strays(films):
        rows = [list(place.rows) for place in places_of(films)]
    of_place = {row: number for number, members in enumerate(rows) for row in members}
    if alike:
        for members in rows:
            read = read_alike([films[i] for i in members])
            for i, film in zip(members, read, strict=True):
                films[i] = film
    found, first = [], 0
    for side in sides:
        mine = range(first, first + len(side))
        first += len(side)
        numbers = sorted({of_place[i] for i in mine})
        found.append(
            [Placed(n, tuple(films[i] for i in mine if of_place[i] == n), kind) for n in numbers]
        )
    return found


def side_mean(side: Sequence[Placed], slot: Slot) -> st.GroupMean | None:
    """Return the mean of a side, all places together; None where nothing is measured."""
    seen = [[m for m in one.metrics(slot) if m.measurable] for one in side]
    seen = [metrics for metrics in seen if metrics]
    if len(seen) < 2:
        return mean_of([m for metrics in seen for m in metrics])
    means = [mean for mean in map(place_mean, seen) if mean is not None]
    one = together(means)
    pooled = mean_of([m for metrics in seen for m in metrics])
    assert pooled is not None
    free = sum(mean.n - 1 for mean in means)
    within = sum((mean.n - 1) * (mean.spread or 0.0) ** 2 for mean in means)
    spread = math.sqrt(within / free) if free else None
    scatter = 0.0 if spread is None else spread**2 / pooled.n
    return replace(
        pooled,
        mean=one.value,
        spread=spread,
        measurement=math.sqrt(max(one.sd**2 - scatter, 0.0)),
        repeat=None,
        session=None,
    )


def consistency(sides: Sequence[Sequence[Placed]], slots: Sequence[Slot]) -> Prior | None:
    """Return what all metrics say of the scatter between serves, of places that both sides have."""
    pairs = []
    for one, two in _shared(sides[0], sides[1]):
        for slot in slots:
            means = mean_of(one.metrics(slot)), mean_of(two.metrics(slot))
            if means[0] is not None and means[1] is not None:
                pairs.append((means[0], means[1]))
    return st.consistency(pairs)


def side_difference(
    first: Sequence[Placed],
    second: Sequence[Placed],
    slot: Slot,
    *,
    alike: bool,
    prior: Prior | None,
) -> st.Difference | None:
    """Return second minus first; None where a side measures nothing.

    Parameters
    ----------
    alike : bool
        As for `placed`: else nothing drops out.
    """
    found = []
    for one, two in _shared(first, second) if alike else ():
        means = mean_of(one.metrics(slot)), mean_of(two.metrics(slot))
        if means[0] is not None and means[1] is not None:
            found.append(st.difference(means[0], means[1], one_place=True, prior=prior))
    if found:
        return found[0] if len(found) == 1 else _as_one(found)
    sides = side_mean(first, slot), side_mean(second, slot)
    if sides[0] is None or sides[1] is None:
        return None
    return st.difference(sides[0], sides[1])


def shares_places(sides: Sequence[Sequence[Placed]]) -> bool:
    """Return whether all places are places of both sides."""
    shared = {one.place for one, _ in _shared(sides[0], sides[1])}
    return bool(shared) and all(one.place in shared for side in sides for one in side)


def _shared(first: Sequence[Placed], second: Sequence[Placed]) -> list[tuple[Placed, Placed]]:
    others = {one.place: one for one in second}
    pairs = [(one, others[one.place]) for one in first if one.place in others]
    return [(one, two) for one, two in pairs if one_place((*one.films, *two.films))]


def _as_one(found: Sequence[st.Difference]) -> st.Difference:
    """Return the differences of several places as one, by inverse variance.

    The serves of the places are others, and what sessions share is each place's own; where places
    disagree the variance grows (`places`).
    """
    least = 1e-9 * max(abs(d.value) for d in found) + 1e-12
    weights = np.array([1.0 / max(d.standard_error, least) ** 2 for d in found])
    values = np.array([d.value for d in found])
    value = float(weights @ values / weights.sum())
    square = float(weights @ (values - value) ** 2)
    error = math.sqrt(excess(square, len(found) - 1) / float(weights.sum()))
    dof = min(d.degrees_of_freedom for d in found)
    finite = math.isfinite(dof)
    quantile = float(distributions.t.ppf(0.975, dof)) if finite else Z95
    ratio = abs(value) / error
    chance = distributions.t.sf(ratio, dof) if finite else distributions.norm.sf(ratio)
    half, shown = quantile * error, min(d.shown for d in found)
    far = math.hypot(half, value * (1.0 / shown - 1.0))
    return st.Difference(
        value=value,
        standard_error=error,
        degrees_of_freedom=dof,
        low=value - (far if value < 0 else half),
        high=value + (half if value < 0 else far),
        p_value=float(2.0 * chance),
        typical_error=min(d.typical_error for d in found),
        mdc95=half,
        shown=shown,
    )
