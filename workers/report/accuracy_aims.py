"""What the engine aims at, which rows are held against it, and how errors are written."""

from __future__ import annotations

from models.contract.accuracy import Accuracy, MetricAccuracy
from models.contract.metrics.catalogue import CATALOGUE
from models.contract.metrics.units import facts
from models.contract.vocabulary import View
from models.words import THIN, english

OTHER_VIEWS = 1.5
"""The aims are this many times wider from every other camera position."""


def aim(key: str, view: View) -> float | None:
    """Return the aim of a metric from a camera position, in the metric's unit."""
    metric = CATALOGUE.get(key)
    if metric is None or metric.aim is None:
        return None
    side = metric.aim
    return side if view is View.SIDE else OTHER_VIEWS * side


def aimed(document: Accuracy) -> tuple[str, ...]:
    """Return the names of the metrics that have an aim, by rank."""
    names = dict.fromkeys(row.name for row in document.metrics)
    return tuple(
        name
        for metric in CATALOGUE.ranked()
        if metric.aim is not None
        for name in names
        if CATALOGUE.named(name) is metric
    )


def met(row: MetricAccuracy, view: View) -> bool | None:
    """Return whether a row keeps its aim; None without an aim or without a value."""
    limit = aim(row.key, view)
    return None if limit is None or row.mae is None else row.mae <= limit


def rows_by_place(document: Accuracy) -> dict[tuple[str, str], MetricAccuracy]:
    """Return the metric rows by name and view."""
    return {(row.name, row.view): row for row in document.metrics}


def label(row: MetricAccuracy) -> str:
    """Return the title with its event: ``Front knee flexion (trophy position)``."""
    event = row.name.partition("@")[2]
    if not event or event in row.title.lower():
        return row.title
    return f"{row.title} ({english()(f'event.{event}').lower()})"


def amount(row: MetricAccuracy, value: float | None, *, signed: bool = False) -> str:
    """Return a value or error of a row with its unit; a dash for none."""
    return "–" if value is None else written(row.key, row.unit, value, signed=signed)


def written(key: str, unit: str, value: float, *, signed: bool = False) -> str:
    """Return a number with its unit; an error of a percentage is in points."""
    if CATALOGUE.percent(key):
        text, after = f"{100 * abs(value):.1f}", " points"
    else:
        how = facts(unit)
        text, after = format(abs(value), how.error), how.sign
    nought = not text.strip("0.")
    sign = "" if nought else "−" if value < 0 else "+" if signed else ""
    return sign + text + after.replace(" ", THIN)
