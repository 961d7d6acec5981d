"""What the engine aims at, which rows are held against it, and how errors are written."""

from __future__ import annotations

from models.contract.accuracy import Accuracy, MetricAccuracy
from models.contract.vocabulary import View
from models.words import THIN, english

AIMS: dict[str, float] = {
    "rear_foot_load_share": 0.04,
    "front_knee_flexion": 4.0,
    "rear_knee_flexion": 4.0,
    "pelvis_turn": 8.0,
    "shoulder_turn": 8.0,
    "shoulder_line_tilt": 3.0,
    "trunk_inclination": 3.0,
    "elbow_flexion": 6.0,
    "contact_height_ratio": 0.02,
}
"""Largest mean absolute error from the side at 60 frames per second, by metric key, in its unit.

The project's own aims; for comparison, single-camera knee flexion in published work is off by
about 7 degrees from the side.
"""
OTHER_VIEWS = 1.5
"""The aims are this many times wider from every other camera position."""


USUAL_FPS = 60.0
"""The aims are meant for this frame rate or more."""


def aim(key: str, view: View) -> float | None:
    """Return the aim of a metric from a camera position, in the metric's unit."""
    side = AIMS.get(key)
    if side is None:
        return None
    return side if view is View.SIDE else OTHER_VIEWS * side


def aimed(document: Accuracy) -> tuple[str, ...]:
    """Return the names of the metrics that have an aim, in the order of `AIMS`."""
    names = dict.fromkeys(row.name for row in document.metrics)
    return tuple(name for key in AIMS for name in names if name.partition("@")[0] == key)


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
    """Return a number with its unit: shares of weight in points of a hundred."""
    if unit == "1" and "load_share" in key:
        text, after = f"{100 * abs(value):.1f}", " points"
    else:
        form, after = {
            "deg": (".1f", "°"),
            "deg/s": (".0f", " °/s"),
            "ms": (".0f", " ms"),
            "s": (".3f", " s"),
            "m": (".3f", " m"),
            "m/s": (".2f", " m/s"),
        }.get(unit, (".3g", "" if unit == "1" else f" {unit}"))
        text = format(abs(value), form)
    nought = not text.strip("0.")
    sign = "" if nought else "−" if value < 0 else "+" if signed else ""
    return sign + text + after.replace(" ", THIN)
