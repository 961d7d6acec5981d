"""Every value that the engine gives on the frozen tracks, as plain data, and how two such differ.

Names are plain words and values plain numbers, so that what one state of the code gave can be
held against another state's. A reason is compared only for being there.
"""

from __future__ import annotations

import gzip
import json
import math
from collections.abc import Iterator, Sequence
from typing import Any

from models.training.guard.frozen import FILMS, frozen_films, load
from models.training.rendered.bodies import motion_of
from workers.engine.engine import analyse_motion
from workers.engine.interface import EngineRequest
from workers.learned import load as load_engine

TOLERANCE = 1e-9
MOTIONS = ("000", "002", "004", "007")
"""Films whose true joints are measured too."""
_METRIC = (
    *("value", "low", "high", "correction", "repeat_sd", "session_sd"),
    *("shown_share", "usual_shown_share", "unit", "measurable", "method"),
)


def request_for(truth: dict[str, Any], *, calibrated: bool = True) -> EngineRequest:
    """Return what ``servewright accuracy`` tells the engine of a film: stature, and the rate of a
    slow-motion file.
    """
    slow = float(truth.get("time_scale") or 1.0) != 1.0
    return EngineRequest(
        stature_m=float(truth["body_height_m"]),
        capture_fps=float(truth["fps"]) if slow else None,
        calibrated=calibrated,
    )


def read_film_truth(film: str) -> dict[str, Any]:
    """Return the truth document of a committed film."""
    document: dict[str, Any] = json.loads(gzip.decompress((FILMS / f"{film}.json.gz").read_bytes()))
    return document


def all_values(films: Sequence[str] | None = None) -> dict[str, Any]:
    """Return what the engine gives on every frozen track and on a few true motions."""
    chosen = frozen_films() if films is None else tuple(films)
    found: dict[str, Any] = {}
    engine = load_engine()
    for film in chosen:
        truth, track = read_film_truth(film), load(film)
        found[f"{film}/film"] = result_values(engine.analyse(track, request_for(truth)))
        plain = engine.analyse(track, request_for(truth, calibrated=False))
        found[f"{film}/uncalibrated"] = result_values(plain)
        if film in MOTIONS:
            motion = motion_of(truth)
            request = EngineRequest(stature_m=motion.stature_m)
            found[f"{film}/motion"] = result_values(analyse_motion(motion, request))
    return found


def result_values(result: Any) -> dict[str, Any]:
    """Return the values of one engine result."""
    view = result.view
    return {
        "view": [str(view.label), view.azimuth_deg, view.azimuth_low, view.azimuth_high],
        "view_source": view.source,
        "handedness": [str(result.handedness), result.handedness_source],
        "scale": [result.scale.metres_per_body_height, result.scale.uncertainty_m],
        "checks": [[check.key, check.passed] for check in result.checks],
        "problems": [problem.code for problem in result.problems],
        "repetitions": [_repetition(repetition) for repetition in result.repetitions],
    }


def _repetition(repetition: Any) -> dict[str, Any]:
    events = {
        str(name): [event.time_s, event.frame, event.uncertainty_s, event.confidence]
        for name, event in repetition.events.items()
    }
    metrics: dict[str, Any] = {}
    for metric in repetition.metrics:
        at = f"@{metric.event}" if metric.event else ""
        row = {name: getattr(metric, name) for name in _METRIC}
        row["has_reason"] = metric.reason is not None
        metrics[f"{metric.key}{at} {metric.method}"] = row
    return {
        "kind": str(repetition.kind),
        "span": [repetition.start_s, repetition.end_s, repetition.confidence],
        "events": events,
        "metrics": metrics,
    }


def differences(old: Any, new: Any, place: str = "") -> Iterator[str]:
    """Yield one line for everything in which two sets of values differ."""
    if isinstance(old, dict) and isinstance(new, dict):
        for key in [*old, *(k for k in new if k not in old)]:
            where = f"{place}/{key}"
            if key not in new:
                yield f"{where}: gone"
            elif key not in old:
                yield f"{where}: new"
            else:
                yield from differences(old[key], new[key], where)
    elif isinstance(old, list) and isinstance(new, list):
        if len(old) != len(new):
            yield f"{place}: {len(old)} entries, now {len(new)}"
        for index, (first, second) in enumerate(zip(old, new, strict=False)):
            yield from differences(first, second, f"{place}/{index}")
    elif not _same(old, new):
        yield f"{place}: {old!r}, now {new!r}"


def _same(old: Any, new: Any) -> bool:
    numbers = all(isinstance(v, int | float) and not isinstance(v, bool) for v in (old, new))
    if numbers:
        return math.isclose(old, new, rel_tol=0.0, abs_tol=TOLERANCE)
    return type(old) is type(new) and bool(old == new)
