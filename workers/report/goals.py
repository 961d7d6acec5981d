"""What the practice rules hold values against: one source for cards, strips, pictures and films."""

from __future__ import annotations

from collections.abc import Sequence

from models.contract.metrics.catalogue import CATALOGUE
from models.contract.thresholds import Threshold
from models.contract.vocabulary import EventName
from models.practice.rules import shipped_rules, thresholds_of


def thresholds_or_shipped(thresholds: Sequence[Threshold] | None) -> Sequence[Threshold]:
    """Return these thresholds, or those of the shipped rules."""
    return thresholds_of(shipped_rules()) if thresholds is None else thresholds


def threshold_at(
    thresholds: Sequence[Threshold], key: str, event: EventName | None
) -> Threshold | None:
    """Return what the rules hold a metric at an event against."""
    return next((t for t in thresholds if key in t.metrics and t.event in (None, event)), None)


def share_goal(thresholds: Sequence[Threshold], events: Sequence[EventName]) -> float | None:
    """Return the share from which the rules call the weight over the rear foot, at these events.

    None where they have none, or call for less instead of more.
    """
    for key in (metric.key for metric in CATALOGUE.ranked() if metric.drawn.at_feet):
        for event in events:
            found = threshold_at(thresholds, key, event)
            if found is not None and found.is_ == "<=":
                return found.value
    return None
