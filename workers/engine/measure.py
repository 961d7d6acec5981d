"""Measure one repetition: events, then every metric with interval or reason."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from models.contract.analysis import Event, Metric
from models.contract.interval import Z95
from models.contract.metrics.units import Unit, facts
from models.contract.note import Note, note
from models.contract.note_codes import NoteCode
from models.contract.tracks import BodyMotion
from models.contract.vocabulary import EventName, RepetitionKind
from workers.engine.calibration import NOT_CALIBRATED, Residual
from workers.engine.events import Instant
from workers.engine.heads import HEAD_FORMULAS
from workers.engine.measurability import FilmContext, why_not
from workers.engine.metrics.registry import metrics_for
from workers.engine.metrics.spec import MetricSpec
from workers.engine.readings import Readings

ROOM_DEG = 150.0
"""An interval so wide holds any angle that a tilt, a lean, a turn or the bend of a joint can have,
degrees: knees bend by up to about 140, elbows by 145 (common practice of goniometry, from
memory)."""
LEAST_SHOWN = 0.05
"""Share of a true change that is stated at least (working value)."""


def events_of(found: Mapping[EventName, Instant], motion: BodyMotion) -> dict[EventName, Event]:
    """Return the contract's events, with the nearest frame of each."""
    result: dict[EventName, Event] = {}
    for name, instant in found.items():
        row = int(np.argmin(np.abs(motion.time_s - instant.time_s)))
        result[name] = Event(
            time_s=round(instant.time_s, 5),
            frame=int(motion.frame_index[row]),
            uncertainty_s=round(instant.sd_s, 5),
            confidence=round(instant.confidence, 3),
            method=instant.method,
        )
    return result


def measure(readings: Readings, kind: RepetitionKind, context: FilmContext) -> tuple[Metric, ...]:
    """Return every metric that applies to this kind of work.

    Parameters
    ----------
    readings : Readings
        The repetition by one or more methods. Each metric is taken from the method that was more
        accurate on calibration films.
    kind : RepetitionKind
    context : FilmContext
        Carries the events.
    """
    results: list[Metric] = []
    film = context
    for spec in metrics_for(kind):
        known = readings.methods(HEAD_FORMULAS.get(spec.name))
        context = film.best_for(spec, known)
        for method in _methods(spec, context, known):
            reason = why_not(spec, context, method)
            value = sd = float("nan")
            if reason is None:
                value, sd = value_and_sd(spec, readings, method)
            if reason is None:
                reason = _untold(spec, value, sd, context, method)
            results.append(_metric(spec, value, sd, reason, context, method))
    return inherited(metrics_for(kind), results) if film.calibrated else tuple(results)


def value_and_sd(spec: MetricSpec, readings: Readings, method: str) -> tuple[float, float]:
    """Return a metric's value by a method, and its propagated standard deviation."""
    return readings.tell(method, spec.compute, HEAD_FORMULAS.get(spec.name))


def inherited(specs: Sequence[MetricSpec], metrics: Sequence[Metric]) -> tuple[Metric, ...]:
    """Withhold what is counted from other values where one of those is withheld.

    Parameters
    ----------
    specs, metrics :
        Of one repetition, in the same order.
    """
    refused = {
        spec.name: metric.reason
        for spec, metric in zip(specs, metrics, strict=True)
        if metric.reason is not None
    }
    kept: list[Metric] = []
    for spec, metric in zip(specs, metrics, strict=True):
        why = next((refused[part] for part in spec.taken.parts if part in refused), None)
        if why is not None and metric.measurable:
            metric = Metric(
                key=metric.key,
                title=metric.title,
                event=metric.event,
                value=None,
                low=None,
                high=None,
                unit=metric.unit,
                measurable=False,
                reason=note(NoteCode.PART_NOT_MEASURABLE, reason=why),
                method=metric.method,
                reference=metric.reference,
            )
        kept.append(metric)
    return tuple(kept)


def _spans(spec: MetricSpec, value: float, sd: float, known: Residual) -> bool:
    """Return whether anything the quantity can be lies within the interval."""
    half = Z95 * float(np.hypot(sd, known.sd))
    bounds = spec.metric.lowest, spec.metric.highest
    room = ROOM_DEG if spec.metric.unit is Unit.DEGREE else 1.0 if spec.metric.percent else np.inf
    if bounds[0] is not None and bounds[1] is not None:
        room = min(room, bounds[1] - bounds[0])
    low, high = value - known.bias - half, value - known.bias + half
    if bounds[0] is not None:
        low = max(low, bounds[0])
    if bounds[1] is not None:
        high = min(high, bounds[1])
    return bool(high - low >= room)


def _untold(
    spec: MetricSpec, value: float, sd: float, context: FilmContext, method: str
) -> Note | None:
    """Return why a value that was worked out is not told, or None."""
    if not (np.isfinite(value) and np.isfinite(sd)):
        return note(NoteCode.UNDEFINED_IN_MOTION)
    if _too_wide(spec, sd, context, method):
        return note(NoteCode.UNCERTAINTY_TOO_LARGE)
    if context.calibrated and _spans(spec, value, sd, _residual(spec, context, method)):
        return note(NoteCode.RANGE_SPANNED)
    return None


def _too_wide(spec: MetricSpec, sd: float, context: FilmContext, method: str) -> bool:
    widest = spec.metric.widest
    if widest is None or not context.calibrated:
        return False
    return float(np.hypot(sd, _residual(spec, context, method).sd)) > widest


def _methods(spec: MetricSpec, context: FilmContext, methods: list[str]) -> list[str]:
    """Return the method to report, or all of them for calibration."""
    if not context.calibrated:
        return methods
    if context.view is None:
        return methods[:1]
    return [context.errors.best_method(spec.name, context.view, context.fps, methods, context.kind)]


def _metric(
    spec: MetricSpec,
    value: float,
    sd: float,
    reason: Note | None,
    context: FilmContext,
    method: str,
) -> Metric:
    low = high = bias = repeat = session = shown = usually = None
    if reason is None:
        known = _residual(spec, context, method)
        half = Z95 * float(np.hypot(sd, known.sd))
        digits = facts(spec.unit).stored
        value = round(_within(spec, value - known.bias), digits)
        low, high = round(value - half, digits), round(value + half, digits)
        bias = round(known.bias, digits)
        view = context.view
        shares = None if view is None else context.errors.repeat_shares(spec.name, view)
        if shares is not None:
            repeat = round(shares.both * half / Z95, digits + 1)
            session = min(round(shares.session * half / Z95, digits + 1), repeat)
            shown, usually = shares.shown, shares.usually
        if known.slope_sd > 0.0 and known.slope > 0.0:
            usually = round(known.slope, 3)
            shown = round(min(max(known.slope - Z95 * known.slope_sd, LEAST_SHOWN), 1.0), 3)
        if spec.metric.lowest is not None:
            low = min(max(low, spec.metric.lowest), value)
        if spec.metric.highest is not None:
            high = max(min(high, spec.metric.highest), value)
    return Metric(
        key=spec.key,
        title=spec.title,
        event=spec.event,
        value=value if reason is None else None,
        low=low,
        high=high,
        correction=bias,
        repeat_sd=repeat,
        session_sd=session,
        shown_share=shown,
        usual_shown_share=usually,
        unit=spec.unit,
        measurable=reason is None,
        reason=reason,
        method=method,
        reference=spec.taken.reference,
    )


def _within(spec: MetricSpec, value: float) -> float:
    """Return a corrected value, not beyond the bounds of the quantity."""
    low = -np.inf if spec.metric.lowest is None else spec.metric.lowest
    high = np.inf if spec.metric.highest is None else spec.metric.highest
    return float(np.clip(value, low, high))


def _residual(spec: MetricSpec, context: FilmContext, method: str) -> Residual:
    known = None
    if context.view is not None and context.calibrated:
        known = context.errors.residual(spec.name, context.view, context.fps, method, context.kind)
    return known or NOT_CALIBRATED
