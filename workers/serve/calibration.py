"""The calibrated part of every interval: error left per metric and camera view.

`workers.serve.calibration_table` holds the figures; it is written by ``servewright accuracy DIR
--calibrate FILE`` from clips with known truth (see DEVELOPERS.md) and read by nothing else.
"""

from __future__ import annotations

from dataclasses import dataclass

from models.contract.vocabulary import EventName, View
from workers.serve.calibration_table import EVENT_TABLE, TABLE

LOW_RATE_FPS = 45.0
"""Below it, errors of clips at 30 frames per second and less apply."""


@dataclass(frozen=True, slots=True)
class Residual:
    """What is known of a metric's error from one view.

    Attributes
    ----------
    sd : float
        Standard deviation to add in quadrature to the propagated one, metric units.
    mae : float
        Mean absolute error on the calibration clips.
    count : int
        Number of values it rests on.
    """

    sd: float
    mae: float
    count: int


def residual(name: str, view: View, fps: float) -> Residual | None:
    """Return the calibrated error of a metric, or None if this view was never calibrated.

    Parameters
    ----------
    name : str
        `MetricSpec.name`.
    view : View
    fps : float
        Falls back to the figures of the other rate where a cell is empty.
    """
    rates = ("low", "usual") if fps < LOW_RATE_FPS else ("usual", "low")
    for rate in rates:
        row = TABLE.get((name, view.value, rate))
        if row is not None:
            return Residual(*row)
    return None


def event_sd(event: EventName, view: View, fps: float) -> float | None:
    """Return the calibrated standard uncertainty of an event's time in seconds, or None."""
    rates = ("low", "usual") if fps < LOW_RATE_FPS else ("usual", "low")
    for rate in rates:
        row = EVENT_TABLE.get((event.value, view.value, rate))
        if row is not None:
            return row[0]
    return None


def views_within(name: str, tolerance: float, fps: float) -> list[View]:
    """Return the views whose mean absolute error is within a tolerance, best first."""
    found: list[tuple[float, View]] = []
    for view in View:
        known = residual(name, view, fps)
        if known is not None and known.mae <= tolerance:
            found.append((known.mae, view))
    return [view for _, view in sorted(found, key=lambda item: item[0])]
