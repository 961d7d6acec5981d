"""All metrics that are defined, and what is asked of them."""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Iterable, Iterator
from itertools import groupby

from models.contract.metrics import families
from models.contract.metrics.definition import (
    BodyPart,
    Drawn,
    MetricDefinition,
    Taken,
    metric_name,
)


class Catalogue:
    """The definitions by key, in order.

    A document of another version may hold a metric that is not defined here: it is of no body
    part, a movement of its own, and drawn nowhere.

    Raises
    ------
    ValueError
        A key or one of its instants is defined twice, or a variant is of no other metric.
    """

    def __init__(self, definitions: Iterable[MetricDefinition]) -> None:
        self._definitions = tuple(definitions)
        self._by_key = {one.key: one for one in self._definitions}
        names = [metric_name(one.key, taken.event) for one in self for taken in one.taken]
        keys = [one.key for one in self]
        twice = sorted({name for each in (keys, names) for name in each if each.count(name) > 1})
        if twice:
            raise ValueError(f"metrics defined twice: {twice}")
        self._by_name = {
            name: one
            for one in self
            for name in (one.key, *(metric_name(one.key, taken.event) for taken in one.taken))
        }
        lost = sorted(one.key for one in self._definitions if one.movement not in self._by_key)
        if lost:
            raise ValueError(f"variants of metrics that are not defined: {lost}")

    def __iter__(self) -> Iterator[MetricDefinition]:
        return iter(self._definitions)

    def __len__(self) -> int:
        return len(self._definitions)

    def __contains__(self, key: object) -> bool:
        return key in self._by_key

    def __getitem__(self, key: str) -> MetricDefinition:
        return self._by_key[key]

    def get(self, key: str) -> MetricDefinition | None:
        """Return the definition of a key, or None."""
        return self._by_key.get(key)

    def named(self, name: str) -> MetricDefinition | None:
        """Return the definition of a key or of a key at an event, or None."""
        return self._by_name.get(name)

    @property
    def keys(self) -> tuple[str, ...]:
        """All keys."""
        return tuple(self._by_key)

    @property
    def names(self) -> tuple[str, ...]:
        """Every metric by its key alone (at all its events), and at each of its events."""
        return tuple(
            name
            for one in self
            for name in (one.key, *(metric_name(one.key, event) for event in one.events))
        )

    def instants(self) -> Iterator[tuple[MetricDefinition, Taken]]:
        """Yield every metric at every instant, in the order of documents.

        Neighbours that are taken at the same events go event by event.
        """
        for _, group in groupby(self, key=lambda one: one.events):
            together = list(group)
            for taken in zip(*(one.taken for one in together), strict=True):
                yield from zip(together, taken, strict=True)

    def ranked(self) -> tuple[MetricDefinition, ...]:
        """Return the metrics that are shown first, in their order."""
        return tuple(
            one for _, _, one in sorted((d.rank, d.key, d) for d in self if d.rank is not None)
        )

    def movement(self, key: str) -> str:
        """Return the key of the movement that a metric is a reading of."""
        known = self.get(key)
        return key if known is None else known.movement

    def part(self, key: str) -> BodyPart | None:
        """Return the part of the body that a metric tells of."""
        known = self.get(key)
        return None if known is None else known.part

    def drawn(self, key: str) -> Drawn:
        """Return where a metric is seen in pictures."""
        known = self.get(key)
        return Drawn() if known is None else known.drawn

    def yes_no(self, name: str) -> bool:
        """Whether a metric, by key or name, is 1 or 0."""
        known = self.named(name)
        return known is not None and known.yes_no

    def headline(self, key: str) -> bool:
        """Whether a webhook carries a metric."""
        known = self.get(key)
        return known is not None and known.headline

    def percent(self, key: str) -> bool:
        """Whether a metric is read as a percentage."""
        known = self.get(key)
        return known is not None and known.percent


def _collect() -> Iterator[MetricDefinition]:
    for module in pkgutil.iter_modules(families.__path__):
        members = vars(importlib.import_module(f"{families.__name__}.{module.name}"))
        yield from members["DEFINITIONS"]


CATALOGUE = Catalogue(_collect())
"""The metrics of the product."""
