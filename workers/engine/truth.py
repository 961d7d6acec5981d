"""Read the true events and metrics of a clip from its ground-truth document.

The document (format ``serveclips-truth-1``) names some things otherwise than the contract does
and counts turns from the net, not from set-up; the definition of a metric says where its truth
stands. This module reads it, and computes nothing about bodies.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from models.contract.metrics.catalogue import CATALOGUE
from models.contract.metrics.definition import metric_name
from models.contract.metrics.truth import (
    Truth,
    TruthDifference,
    TruthPath,
    TruthSpan,
    TruthTurn,
)
from models.contract.tracks import FloatArray
from models.contract.vocabulary import EventName, Handedness, RepetitionKind, View
from workers.engine.view import view_of

FORMAT = "serveclips-truth-1"
EVENTS: dict[str, EventName] = {
    "start": EventName.SET_UP,
    "release": EventName.RELEASE,
    "lowest_pelvis": EventName.LOADING,
    "trophy": EventName.TROPHY,
    "racket_low": EventName.RACKET_LOW,
    "contact": EventName.CONTACT,
    "finish": EventName.FINISH,
}


@dataclass(frozen=True, slots=True)
class TrueRepetition:
    """Events in seconds and metrics by `MetricSpec.name`."""

    kind: RepetitionKind
    events: Mapping[EventName, float]
    metrics: Mapping[str, float]

    @property
    def anchor_s(self) -> float:
        """The instant repetitions are matched by: contact, else loading."""
        return self.events.get(EventName.CONTACT, self.events.get(EventName.LOADING, 0.0))


@dataclass(frozen=True, slots=True)
class ClipTruth:
    """What is known of a clip; ``time_scale`` > 1: the file plays that many times slower."""

    name: str
    fps: float
    time_s: FloatArray
    view: View
    azimuth_deg: float
    handedness: Handedness
    stature_m: float
    time_scale: float
    repetitions: tuple[TrueRepetition, ...]

    @property
    def serves(self) -> tuple[TrueRepetition, ...]:
        """The serves among the repetitions."""
        return tuple(r for r in self.repetitions if r.kind is RepetitionKind.SERVE)


def read_truth(document: Mapping[str, Any], name: str = "") -> ClipTruth:
    """Return the truth of a clip.

    Raises
    ------
    ValueError
        If the document is of another format.
    """
    if document.get("format") != FORMAT:
        raise ValueError(f"not a {FORMAT} document")
    fps = float(document["fps"])
    given = document.get("frame_times_s")
    times = np.arange(int(document["n_frames"])) / fps if given is None else np.asarray(given)
    blocks = [(RepetitionKind.SERVE, block) for block in document["serves"]]
    blocks += [
        (RepetitionKind(block["kind"]), block) for block in document.get("other_repetitions", ())
    ]
    azimuth = float(document["camera"]["azimuth_deg"])
    repetitions = [_repetition(kind, block, document, times) for kind, block in blocks]
    return ClipTruth(
        name=name or str(document.get("clip", "")),
        fps=fps,
        time_s=times,
        view=_view(document, azimuth),
        azimuth_deg=azimuth,
        handedness=Handedness(document["handedness"]),
        stature_m=float(document["body_height_m"]),
        time_scale=float(document.get("time_scale") or 1.0),
        repetitions=tuple(sorted(repetitions, key=lambda r: r.anchor_s)),
    )


def _view(document: Mapping[str, Any], azimuth: float) -> View:
    name = str(document["camera"].get("view", "")).replace("-", "_")
    try:
        return View(name)
    except ValueError:
        return view_of(azimuth)


def _repetition(
    kind: RepetitionKind, block: Mapping[str, Any], document: Mapping[str, Any], times: FloatArray
) -> TrueRepetition:
    events = {
        EVENTS[key]: float(value)
        for key, value in block["event_times_s"].items()
        if key in EVENTS and value is not None
    }
    metrics: dict[str, float] = {}
    # What is worked out from other metrics comes after them.
    for place in (TruthPath, TruthSpan, TruthTurn, TruthDifference):
        for metric, taken in CATALOGUE.instants():
            if isinstance(taken.truth, place):
                value = _true_value(taken.truth, block, document, times, events, metrics)
                if value is not None and np.isfinite(value):
                    metrics[metric_name(metric.key, taken.event)] = value
    return TrueRepetition(kind, events, metrics)


def _true_value(
    truth: Truth,
    block: Mapping[str, Any],
    document: Mapping[str, Any],
    times: FloatArray,
    events: Mapping[EventName, float],
    metrics: Mapping[str, float],
) -> float | None:
    match truth:
        case TruthPath(path, factor):
            found = _dig(block, path)
            return None if found is None else factor * found
        case TruthSpan(first, last):
            return events[last] - events[first] if {first, last} <= events.keys() else None
        case TruthTurn(end, name):
            series = document.get("frame_metrics", {}).get(name)
            if series is None or end not in metrics or EventName.SET_UP not in events:
                return None
            start = float(np.interp(events[EventName.SET_UP], times, np.asarray(series)))
            return (metrics[end] - start + 180.0) % 360.0 - 180.0
        case TruthDifference(whole, less):
            return metrics[whole] - metrics[less] if {whole, less} <= metrics.keys() else None


def _dig(block: Mapping[str, Any], path: str) -> float | None:
    value: Any = block
    for key in path.split("."):
        if not isinstance(value, Mapping) or key not in value:
            return None
        value = value[key]
    return None if value is None else float(value)
