"""Pick metrics out of repetitions and summarise them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from models.contract.analysis import Metric, Repetition
from models.contract.interval import Z95
from models.contract.vocabulary import EventName
from workers.decide import statistics as st

Slot = tuple[str, EventName | None]
"""A metric key and the event it is taken at."""


def in_slot(repetitions: Iterable[Repetition], key: str, event: EventName | None) -> list[Metric]:
    """Return one metric of each repetition that has it, measurable or not."""
    return [m for r in repetitions for m in r.metrics if (m.key, m.event) == (key, event)]


def at_any_event(
    repetitions: Iterable[Repetition], key: str, event: EventName | None
) -> list[Metric]:
    """Return metrics by key; ``event`` None takes every event."""
    return [m for r in repetitions for m in r.metrics if m.key == key and event in (None, m.event)]


def mean_of(metrics: Sequence[Metric]) -> st.GroupMean | None:
    """Return the mean of the measurable ones, or None when there is none."""
    rows = [
        (m.value, m.low, m.high)
        for m in metrics
        if m.value is not None and m.low is not None and m.high is not None
    ]
    if not rows:
        return None
    values, lows, highs = zip(*rows, strict=True)
    used = [m for m in metrics if m.value is not None]
    return st.group_mean(
        values,
        lows,
        highs,
        repeats=[m.repeat_sd for m in used],
        sessions=[m.session_sd for m in used],
        shown=[m.shown_share for m in used],
        shown_usually=[m.usual_shown_share for m in used],
    )


def interval(group: st.GroupMean) -> tuple[float, float]:
    """Return the 95 % interval of a group's mean."""
    half = Z95 * st.standard_error(group)
    return group.mean - half, group.mean + half
