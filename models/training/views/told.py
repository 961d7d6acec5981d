"""The metrics of a body in motion at given instants, by the engine's own formulas."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from models.contract.analysis import Metric
from models.contract.metrics.definition import metric_name
from models.contract.tracks import BodyMotion, FloatArray
from models.contract.vocabulary import EventName, RepetitionKind, Sex
from workers.engine.events import Instant
from workers.engine.measurability import FilmContext
from workers.engine.measure import measure
from workers.engine.readings import BodyEstimate, read

RATE_HZ = 240.0
"""Stated so that no value is withheld for the rate."""
STATURE_SD_M = 0.01


def told(
    motion: BodyMotion,
    sample: Callable[[int, int], FloatArray],
    events: Mapping[str, float],
    stature_sd_m: float = STATURE_SD_M,
) -> dict[str, Metric]:
    """Return the measurable metrics of a serve, by name.

    Parameters
    ----------
    motion, sample : BodyMotion and callable
        A body, and how bodies like it are drawn.
    events : mapping of str to float
        Instants on the body's clock, seconds.
    """
    known = {EventName(name): Instant(t, 0.0, 1.0) for name, t in events.items()}
    estimate = BodyEstimate(motion, sample)
    readings = read((estimate,), known, sex=Sex.UNKNOWN, stature_sd_m=stature_sd_m, seed=0)
    context = FilmContext(RATE_HZ, None, 1.0, known)
    return {
        metric_name(m.key, m.event): m
        for m in measure(readings, RepetitionKind.SERVE, context)
        if m.measurable
    }
