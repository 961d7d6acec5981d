"""An event as it is told: what films and movements with known events showed of such times."""

from __future__ import annotations

import math
from dataclasses import replace

from models.contract.vocabulary import EventName, View
from workers.engine.calibration import Calibration
from workers.engine.event_errors import BODY, EventErrors
from workers.engine.events import Instant

CURVES = frozenset({"knees", "pelvis"})
"""What tells an event by a curve, with an uncertainty of its own."""


def judged(
    instant: Instant,
    event: EventName,
    view: View | None,
    fps: float,
    errors: Calibration,
    told: EventErrors,
) -> Instant:
    """Give an event the uncertainty and the confidence that known events showed.

    What lags tell was measured on films, by view; what ball, sound and the curves of knees and
    pelvis tell has its own table. Neither is less than sampling leaves. Without a table an event
    keeps what it says of itself.
    """
    if instant.method != BODY and told.rows:
        bias, sd, sure = told.judged(event, instant.method, fps, instant.sd_s)
        return replace(instant, time_s=instant.time_s - bias, sd_s=sd, confidence=sure)
    known = None if view is None else errors.event_sd(event, view, fps)
    least = 1.0 / max(fps, 1.0) / math.sqrt(12.0)
    held = None if view is None else told.body_confidence(event, fps)
    return replace(
        instant,
        sd_s=max(instant.sd_s if known is None else known, least),
        confidence=instant.confidence if held is None else held,
    )


def as_calibrated(
    instant: Instant, event: EventName, view: View | None, fps: float, errors: Calibration
) -> Instant:
    """Return an event as values at it were calibrated: what its time may be off widens them.

    Residuals are what is left beside that widening; a time that is told more narrowly than on the
    calibration's films would leave values with intervals that are too narrow.
    """
    known = None if view is None else errors.event_sd(event, view, fps)
    if instant.method not in CURVES or known is None:
        return instant
    return replace(instant, sd_s=max(instant.sd_s, known))
