"""Figures of the frozen films, and the limits that they are held to.

A figure is a mean over the films: the absolute error of a metric, half the width of its interval,
the error of an event in seconds and in its stated uncertainties. `STATED` are limits by
requirement. All others are in ``limits.json``, made by ``python -m models.training.guard limits``
from what was measured: see `limits_of`.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from models.contract.interval import Z95
from models.training.guard.frozen import TRACKS
from models.training.guard.measured import Measured
from workers.engine.accuracy import ClipErrors, MetricError

LIMITS = TRACKS / "limits.json"
WRONG_ANSWERS = {("011", "kinds"), ("012", "kinds")}
"""Answers that the engine is known to give wrongly unless it is told (see `measured.STATED`)."""
ROOM = 1.1
"""Share by which a figure may exceed the worst of the disturbed runs."""
STEP = {"deg": 0.5, "1": 0.01, "s": 0.01, "ms": 5.0, "m": 0.005, "m/s": 0.1, "deg/s": 10.0}
"""What a figure may exceed besides, in its unit: a small error may grow without meaning much."""
_SPREADS = {"sd": 0.05, "count": 2.0, "share": 0.02}

Limit = tuple[float, float]
STATED: dict[str, Limit] = {
    "film | all metrics | coverage": (0.93, 1.0),
    "film | all metrics | error over sd": (0.6, 1.15),
    "film | all events | coverage": (0.93, 1.0),
    "film | event contact | error": (0.0, 0.017),
}
"""Limits by requirement: 95 % intervals hold the truth in 95 % (of some 450 values that hang
together: 93 %), contact is found to half a frame at 30 frames per second. Errors may be smaller
than said: the frozen films move by the most regular of
the generators that intervals are made for."""


@dataclass(frozen=True)
class Figure:
    """A number with its unit; ``two_sided`` figures must not shrink much either."""

    value: float
    unit: str
    two_sided: bool = False


@dataclass(frozen=True)
class Failure:
    """A figure out of its limits. ``excess`` is how far out, in widths of the allowed range."""

    name: str
    value: float | None
    limit: Limit
    excess: float

    def __str__(self) -> str:
        shown = "missing" if self.value is None else f"{self.value:.4g}"
        return f"{self.name}: {shown}, allowed {self.limit[0]:.4g} to {self.limit[1]:.4g}"


def figures(measured: Sequence[Measured]) -> dict[str, Figure]:
    """Return all figures of a set of measured films."""
    units = {name: unit for film in measured for name, unit in film.units.items()}
    found: dict[str, Figure] = {}
    for way in ("film", "plain", "joints"):
        clips = [clip for film in measured if (clip := getattr(film, way)) is not None]
        if not clips:
            continue
        found |= _metric_figures(way, clips, units, by_method=way == "plain")
        if way != "plain":
            found |= _event_figures(way, clips)
    for film in measured:
        if film.stated is not None:
            found |= _metric_figures(f"stated {film.clip}", [film.stated], units, by_method=False)
    found |= dict(_clip_figures(measured))
    return found


def _metric_figures(
    way: str, clips: Sequence[ClipErrors], units: Mapping[str, str], *, by_method: bool
) -> dict[str, Figure]:
    groups: dict[str, list[MetricError]] = {}
    for error in (e for clip in clips for e in clip.metrics if e.error is not None):
        name = f"{error.name} by {error.method}" if by_method else error.name
        groups.setdefault(name, []).append(error)
    found: dict[str, Figure] = {}
    for name, mine in groups.items():
        unit = units[mine[0].name]
        away = np.array([e.error for e in mine], dtype=float)
        half = np.array([_half(e) for e in mine])
        found[f"{way} | {name} | error"] = Figure(float(np.abs(away).mean()), unit)
        found[f"{way} | {name} | half interval"] = Figure(float(half.mean()), unit, True)
        if way == "joints":
            # from true joints, where little scatters: shows a shift smaller than the error
            away = np.array([e.error for e in mine], dtype=float)
            found[f"{way} | {name} | mean error"] = Figure(float(away.mean()), unit, True)
    every = [e for mine in groups.values() for e in mine]
    if way == "film":
        over = [(e.error or 0.0) / (_half(e) / Z95) for e in every if _half(e) > 0.0]
        rms = float(np.sqrt(np.mean(np.square(over))))
        found[f"{way} | all metrics | error over sd"] = Figure(rms, "sd", True)
        inside = float(np.mean([bool(e.covered) for e in every]))
        found[f"{way} | all metrics | coverage"] = Figure(inside, "share", True)
    found[f"{way} | all metrics | values"] = Figure(float(len(every)), "count", True)
    return found


def _half(error: MetricError) -> float:
    return ((error.high or 0.0) - (error.low or 0.0)) / 2.0


def _event_figures(way: str, clips: Sequence[ClipErrors]) -> dict[str, Figure]:
    found: dict[str, Figure] = {}
    seen = [(e, e.seconds, e.sd_s or 0.0) for c in clips for e in c.events if e.seconds is not None]
    for event in dict.fromkeys(e.event for e, _, _ in seen):
        away = np.array([s for e, s, _ in seen if e.event is event])
        sd = np.array([sd for e, _, sd in seen if e.event is event])
        name = f"{way} | event {event.value}"
        found[f"{name} | error"] = Figure(float(np.abs(away).mean()), "s")
        found[f"{name} | late by"] = Figure(float(away.mean()), "s", True)
        found[f"{name} | sd"] = Figure(float(sd.mean()), "s", True)
        rms = float(np.sqrt(np.mean((away / sd) ** 2)))
        found[f"{name} | error over sd"] = Figure(rms, "sd")
    inside = [abs(s) <= Z95 * sd for _, s, sd in seen]
    found[f"{way} | all events | coverage"] = Figure(float(np.mean(inside)), "share", True)
    return found


def _clip_figures(measured: Sequence[Measured]) -> Iterator[tuple[str, Figure]]:
    for clip in measured:
        film, busy = clip.film, bool(clip.film.kinds)
        right = {"kinds": film.kinds == film.kinds_found}
        if busy:
            right["handedness"] = film.handedness == film.handedness_found
            right["view"] = film.view == film.view_found
        for answer, value in right.items():
            if (clip.clip, answer) not in WRONG_ANSWERS:
                yield f"film | {clip.clip} | {answer} right", Figure(float(value), "exact", True)
        if clip.stated is not None:
            same = clip.stated.kinds == clip.stated.kinds_found
            yield f"stated {clip.clip} | kinds right", Figure(float(same), "exact", True)
        if film.azimuth_error_deg is not None:
            yield f"film | {clip.clip} | azimuth error", Figure(abs(film.azimuth_error_deg), "deg")
    bodies = [body for clip in measured for body in clip.bodies]
    yield "film | bodies | distance", Figure(float(np.mean([b.distance_m for b in bodies])), "m")
    yield "film | bodies | size", Figure(float(np.mean([b.size for b in bodies])), "1", True)
    pairs = np.array([pair for clip in measured for pair in clip.corrected])
    if len(pairs):
        gain = float(np.mean(pairs[:, 0] - pairs[:, 1]))
        yield "film | corrections | error added", Figure(gain, "share", True)


def limits_of(base: Mapping[str, Figure], runs: Sequence[Mapping[str, Figure]]) -> dict[str, Limit]:
    """Return the limits of the figures of the untouched tracks.

    ``runs`` are the figures of disturbed tracks (noise of half a pixel, other draws): they say how
    firm a figure is. A limit is the worst of all runs, a tenth (`ROOM`) and one `STEP` further.
    """
    limits: dict[str, Limit] = {}
    for name, figure in base.items():
        values = [f.value for run in (base, *runs) if (f := run.get(name)) is not None]
        if figure.unit == "exact":
            limits[name] = (1.0, 1.0)
            continue
        step = (STEP | _SPREADS)[figure.unit]
        low, high = min(values), max(values)
        high += (ROOM - 1.0) * abs(high) + step
        low -= (ROOM - 1.0) * abs(low) + step
        limits[name] = (low if figure.two_sided else 0.0, high)
    return limits


def read_limits() -> dict[str, Limit]:
    """Return the committed limits, those by requirement in place of the measured ones."""
    rows: list[list[Any]] = json.loads(LIMITS.read_text("utf-8"))["limits"]
    return {str(name): (float(low), float(high)) for name, _, low, high in rows} | STATED


def limits_text(base: Mapping[str, Figure], limits: Mapping[str, Limit]) -> str:
    """Return the text of ``limits.json``, in rows: name, measured, lowest and highest allowed."""
    rows = [
        json.dumps([name, _short(figure.value), *(_short(bound) for bound in limits[name])])
        for name, figure in base.items()
    ]
    made = json.dumps("python -m models.training.guard limits")
    return f'{{\n"made_by": {made},\n"limits": [\n' + ",\n".join(rows) + "\n]\n}\n"


def _short(value: float) -> float:
    return float(f"{value:.4g}")


def failures(found: Mapping[str, Figure], limits: Mapping[str, Limit]) -> list[Failure]:
    """Return every figure that is out of its limits, missing, or without limits; worst first."""
    failed: list[Failure] = []
    for name, (low, high) in limits.items():
        figure = found.get(name)
        if figure is None:
            failed.append(Failure(name, None, (low, high), float("inf")))
        elif not low <= figure.value <= high:
            beyond = max(low - figure.value, figure.value - high)
            failed.append(Failure(name, figure.value, (low, high), beyond / max(high - low, 1e-9)))
    nan = float("nan")
    failed += [
        Failure(f"{name} (no limit is stated)", figure.value, (nan, nan), 0.0)
        for name, figure in found.items()
        if name not in limits
    ]
    return sorted(failed, key=lambda failure: -failure.excess)
