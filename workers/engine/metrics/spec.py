"""What a metric is: data about it, and the pure function that computes it."""

from __future__ import annotations

import inspect
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

from models.contract.metric_names import metric_name
from models.contract.tracks import FloatArray
from models.contract.vocabulary import EventName, RepetitionKind
from workers.engine.samples import Samples

SERVES = frozenset({RepetitionKind.SERVE, RepetitionKind.SHADOW})
SWINGS = SERVES | {RepetitionKind.THROW}
LOADED = SERVES | {RepetitionKind.HOLD}
HOLDS = frozenset({RepetitionKind.HOLD})
THROWS = frozenset({RepetitionKind.THROW})


class Need(StrEnum):
    """What the film must give for a metric to mean anything."""

    FEET = "feet"
    """Both feet in the picture at the event."""
    STATURE = "stature"
    """Metres: the player's height (given, or assumed with a wide margin)."""
    TARGET = "target"
    """The direction of the target, known better than from the stance alone."""
    FAST = "fast"
    """A frame rate that resolves fast arm movement."""


@dataclass(frozen=True, slots=True)
class MetricSpec:
    """One metric at one event.

    Attributes
    ----------
    key : str
        Stable name; the same key may be taken at several events.
    title : str
        For reports.
    unit : str
        ``deg``, ``s``, ``ms``, ``m``, ``m/s``, ``deg/s`` or ``1`` (ratio).
    event : EventName or None
        Instant; None = over the repetition.
    compute : callable
        `Samples` -> ndarray, shape (S,). NaN = undefined in this sample. Its docstring is the
        definition shown in the catalogue.
    needs : frozenset of Need
    uses : tuple of EventName
        Further events without which it is not measurable.
    kinds : frozenset of RepetitionKind
        Work it applies to.
    reference : str or None
        Published value with its source, or the trade's rule marked as such.
    min_fps : float
        Frame rate below which it is not measurable.
    tolerance : float or None
        Largest mean absolute error (on calibration films) with which the value is still worth
        reporting; a view with more is not measurable. None = always reported.
    lowest, highest : float or None
        Bounds of the quantity, at which the interval ends.
    """

    key: str
    title: str
    unit: str
    event: EventName | None
    compute: Callable[[Samples], FloatArray]
    needs: frozenset[Need] = frozenset()
    uses: tuple[EventName, ...] = ()
    kinds: frozenset[RepetitionKind] = SERVES
    reference: str | None = None
    min_fps: float = 0.0
    tolerance: float | None = None
    lowest: float | None = None
    highest: float | None = None

    @property
    def definition(self) -> str:
        """The definition, from the docstring of the function."""
        return " ".join((inspect.getdoc(self.compute) or "").split())

    @property
    def name(self) -> str:
        """Key and event in one word, unique in the registry: ``elbow_flexion@contact``."""
        return metric_name(self.key, self.event)

    @property
    def events(self) -> tuple[EventName, ...]:
        """Every event without which it is not measurable."""
        return (*((self.event,) if self.event else ()), *self.uses)
