"""Compare what was measured in clips with what is true, and sum it up per metric and view."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from models.contract.analysis import Repetition
from models.contract.metrics.definition import metric_name
from models.contract.vocabulary import EventName, Handedness, RepetitionKind, View
from workers.engine.truth import ClipTruth, TrueRepetition

MATCH_S = 0.6
"""Repetitions belong together when their contacts (holds: middles) are this close."""


@dataclass(frozen=True, slots=True)
class MetricError:
    """One metric of one matched repetition; value and interval are None if not measurable."""

    clip: str
    name: str
    view: View
    fps: float
    truth: float
    value: float | None
    low: float | None
    high: float | None
    method: str = ""
    kind: RepetitionKind = RepetitionKind.SERVE

    @property
    def error(self) -> float | None:
        """Measured minus true."""
        return None if self.value is None else self.value - self.truth

    @property
    def covered(self) -> bool | None:
        """Whether the 95 % interval holds the truth."""
        if self.low is None or self.high is None:
            return None
        return self.low <= self.truth <= self.high


@dataclass(frozen=True, slots=True)
class EventError:
    """Measured minus true time of one event, in seconds and frames; None = not found.

    ``method`` is what it was told by.
    """

    clip: str
    event: EventName
    view: View
    fps: float
    seconds: float | None
    sd_s: float | None
    method: str = ""

    @property
    def frames(self) -> float | None:
        """The same in frames."""
        return None if self.seconds is None else self.seconds * self.fps


@dataclass(frozen=True, slots=True)
class ClipErrors:
    """One clip, measured against its truth."""

    clip: str
    fps: float
    view: View
    view_found: View
    azimuth_error_deg: float | None
    handedness: Handedness
    handedness_found: Handedness
    serves: int
    serves_found: int
    kinds: tuple[RepetitionKind, ...]
    kinds_found: tuple[RepetitionKind, ...]
    events: tuple[EventError, ...]
    metrics: tuple[MetricError, ...]


@dataclass(frozen=True, slots=True)
class MetricRow:
    """Errors of one metric from one view."""

    name: str
    view: str
    count: int
    bias: float | None
    mae: float | None
    p95: float | None
    coverage: float | None
    measurable: float


@dataclass(frozen=True, slots=True)
class EventRow:
    """Errors of one event from one view: milliseconds, and frames."""

    event: str
    view: str
    count: int
    found: float
    bias_ms: float | None
    mae_ms: float | None
    p95_ms: float | None
    mae_frames: float | None
    within_one_frame: float | None


@dataclass(frozen=True, slots=True)
class ClipSummary:
    """Shares of clips in which the whole-clip answers are right."""

    clips: int
    count_exact: float
    kinds_exact: float
    handedness_exact: float | None
    view_class: float | None
    azimuth_mae_deg: float | None


def clip_errors(
    truth: ClipTruth,
    repetitions: Sequence[Repetition],
    view: View,
    azimuth_deg: float | None,
    handedness: Handedness,
) -> ClipErrors:
    """Return the comparison of one clip."""
    pairs = match(truth.repetitions, repetitions)
    metrics: list[MetricError] = []
    events: list[EventError] = []
    for true, found in pairs:
        events.extend(_events(truth, true, found))
        metrics.extend(_metrics(truth, true, found))
    away = None
    if azimuth_deg is not None and truth.repetitions:
        away = float((azimuth_deg - truth.azimuth_deg + 180.0) % 360.0 - 180.0)
    return ClipErrors(
        clip=truth.name,
        fps=truth.fps,
        view=truth.view,
        view_found=view,
        azimuth_error_deg=away,
        handedness=truth.handedness,
        handedness_found=handedness,
        serves=len(truth.serves),
        serves_found=sum(r.kind is RepetitionKind.SERVE for r in repetitions),
        kinds=tuple(r.kind for r in truth.repetitions),
        kinds_found=tuple(r.kind for r in repetitions),
        events=tuple(events),
        metrics=tuple(metrics),
    )


def match(
    true: Sequence[TrueRepetition], found: Sequence[Repetition]
) -> list[tuple[TrueRepetition, Repetition]]:
    """Return pairs of repetitions nearest in time, each used once."""
    free = list(found)
    pairs: list[tuple[TrueRepetition, Repetition]] = []
    for repetition in true:
        near = [(abs(_anchor(f) - repetition.anchor_s), i) for i, f in enumerate(free)]
        limit = 3.0 if repetition.kind is RepetitionKind.HOLD else MATCH_S
        if near and min(near)[0] <= limit:
            pairs.append((repetition, free.pop(min(near)[1])))
    return pairs


def _anchor(found: Repetition) -> float:
    for name in (EventName.CONTACT, EventName.LOADING):
        if name in found.events:
            return found.events[name].time_s
    return (found.start_s + found.end_s) / 2.0


def _events(truth: ClipTruth, true: TrueRepetition, found: Repetition) -> list[EventError]:
    if true.kind is RepetitionKind.HOLD:
        return []
    result = []
    for event, time in true.events.items():
        seen = found.events.get(event)
        result.append(
            EventError(
                clip=truth.name,
                event=event,
                view=truth.view,
                fps=truth.fps,
                seconds=None if seen is None else seen.time_s - time,
                sd_s=None if seen is None else seen.uncertainty_s,
                method="" if seen is None or seen.method is None else seen.method,
            )
        )
    return result


def _metrics(truth: ClipTruth, true: TrueRepetition, found: Repetition) -> list[MetricError]:
    result = []
    for metric in found.metrics:
        name = metric_name(metric.key, metric.event)
        if name not in true.metrics:
            continue
        result.append(
            MetricError(
                clip=truth.name,
                name=name,
                view=truth.view,
                fps=truth.fps,
                truth=true.metrics[name],
                value=metric.value,
                low=metric.low,
                high=metric.high,
                method=metric.method,
                kind=found.kind,
            )
        )
    return result


def metric_table(comparisons: Iterable[ClipErrors]) -> list[MetricRow]:
    """Return one row per metric and view (and ``all``), in order of metric."""
    errors = [error for comparison in comparisons for error in comparison.metrics]
    names = list(dict.fromkeys(error.name for error in errors))
    rows: list[MetricRow] = []
    for name in names:
        mine = [error for error in errors if error.name == name]
        for view in (*View, None):
            chosen = [error for error in mine if view is None or error.view is view]
            if chosen:
                rows.append(_metric_row(name, view.value if view else "all", chosen))
    return rows


def _metric_row(name: str, view: str, chosen: Sequence[MetricError]) -> MetricRow:
    away = np.array([error.error for error in chosen if error.error is not None])
    inside = [error.covered for error in chosen if error.covered is not None]
    some = away.size > 0
    return MetricRow(
        name=name,
        view=view,
        count=len(chosen),
        bias=float(away.mean()) if some else None,
        mae=float(np.abs(away).mean()) if some else None,
        p95=float(np.percentile(np.abs(away), 95)) if some else None,
        coverage=float(np.mean(inside)) if inside else None,
        measurable=float(away.size / len(chosen)),
    )


def event_table(comparisons: Iterable[ClipErrors]) -> list[EventRow]:
    """Return one row per event and view (and ``all``)."""
    errors = [error for comparison in comparisons for error in comparison.events]
    rows: list[EventRow] = []
    for event in EventName:
        for view in (*View, None):
            chosen = [e for e in errors if e.event is event and (view is None or e.view is view)]
            if chosen:
                rows.append(_event_row(event, view.value if view else "all", chosen))
    return rows


def _event_row(event: EventName, view: str, chosen: Sequence[EventError]) -> EventRow:
    ms = np.array([1e3 * error.seconds for error in chosen if error.seconds is not None])
    frames = np.array([error.frames for error in chosen if error.frames is not None])
    some = ms.size > 0
    return EventRow(
        event=event.value,
        view=view,
        count=len(chosen),
        found=float(ms.size / len(chosen)),
        bias_ms=float(ms.mean()) if some else None,
        mae_ms=float(np.abs(ms).mean()) if some else None,
        p95_ms=float(np.percentile(np.abs(ms), 95)) if some else None,
        mae_frames=float(np.abs(frames).mean()) if some else None,
        within_one_frame=float(np.mean(np.abs(frames) <= 1.0)) if some else None,
    )


def clip_summary(comparisons: Sequence[ClipErrors]) -> ClipSummary:
    """Return how often count, kinds of work, handedness and view class are right.

    Handedness and view count only in clips that hold work.
    """
    busy = [c for c in comparisons if c.kinds]
    azimuths = [abs(c.azimuth_error_deg) for c in busy if c.azimuth_error_deg is not None]
    return ClipSummary(
        clips=len(comparisons),
        count_exact=_share([c.serves == c.serves_found for c in comparisons]) or 0.0,
        kinds_exact=_share([c.kinds == c.kinds_found for c in comparisons]) or 0.0,
        handedness_exact=_share([c.handedness == c.handedness_found for c in busy]),
        view_class=_share([c.view == c.view_found for c in busy]),
        azimuth_mae_deg=float(np.mean(azimuths)) if azimuths else None,
    )


def _share(right: Sequence[bool]) -> float | None:
    return float(np.mean(right)) if right else None
