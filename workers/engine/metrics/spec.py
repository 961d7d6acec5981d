"""What the engine measures: a defined metric at one instant, and the pure function for it."""

from __future__ import annotations

import inspect
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from models.contract.metrics.definition import MetricDefinition, Need, Taken, metric_name
from models.contract.tracks import FloatArray
from models.contract.vocabulary import EventName, RepetitionKind
from workers.engine.samples import Samples

Formula = Callable[[Samples], FloatArray]
"""`Samples` -> ndarray, shape (S,). NaN = undefined in this sample.

Its docstring is the definition shown in the catalogue.
"""


@dataclass(frozen=True, slots=True)
class AtEvent:
    """The formula of a metric that is taken at several events."""

    at: Callable[[EventName], Formula]


Formulas = Mapping[str, Formula | AtEvent]
"""Formulas by the key of the metric."""


@dataclass(frozen=True, slots=True)
class MetricSpec:
    """One metric at one instant, with its formula."""

    metric: MetricDefinition
    taken: Taken
    compute: Formula

    @property
    def key(self) -> str:
        """Stable name; the same key may be taken at several events."""
        return self.metric.key

    @property
    def title(self) -> str:
        """What the field calls it."""
        return self.metric.term

    @property
    def unit(self) -> str:
        """Unit of the values, as documents name it."""
        return self.metric.unit.value

    @property
    def event(self) -> EventName | None:
        """Instant; None = over the repetition."""
        return self.taken.event

    @property
    def needs(self) -> frozenset[Need]:
        """What the film must give."""
        return self.metric.needs

    @property
    def kinds(self) -> frozenset[RepetitionKind]:
        """Work it applies to."""
        return self.taken.kinds

    @property
    def definition(self) -> str:
        """The definition, from the docstring of the formula."""
        return " ".join((inspect.getdoc(self.compute) or "").split())

    @property
    def name(self) -> str:
        """Key and event in one word, unique in the registry: ``elbow_flexion@contact``."""
        return metric_name(self.key, self.event)

    @property
    def events(self) -> tuple[EventName, ...]:
        """Every event without which it is not measurable."""
        return (*((self.event,) if self.event else ()), *self.taken.uses)
