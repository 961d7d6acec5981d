"""Errors put into the engine on purpose, to prove that the guard notices them.

Each is patched into the running process and taken out again; no file is touched. Bodies are
fitted once and remembered, as most errors lie behind the fit.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, replace
from typing import Any
from unittest.mock import patch

import numpy as np

from models.contract.interval import Z95
from models.contract.skeleton import CANONICAL_BODY, LANDMARKS
from models.contract.tracks import BodyMotion, JointTrack
from models.contract.vocabulary import EventName, Handedness
from models.training.guard import frozen, measured
from models.training.guard.checks import Failure, Limit, failures, figures
from workers.engine import engine, measure
from workers.engine.calibration import NOT_CALIBRATED
from workers.engine.readings import BodyEstimate

Array = np.ndarray[Any, np.dtype[Any]]
Patch = Callable[[], AbstractContextManager[object]]


@dataclass(frozen=True)
class Caught:
    """What the guard said of a mutation: every figure out of its limits, worst first."""

    mutation: str
    failed: tuple[Failure, ...]


def _wrapped(place: object, name: str, wrap: Callable[[Any], Any]) -> Patch:
    """Replace a function by what ``wrap`` makes of the one that is there at that time."""
    return lambda: patch.object(place, name, wrap(getattr(place, name)))


def _values(change: Callable[[Any, float], float]) -> Patch:
    """Change every value (never its spread): ``change(spec, value)``."""

    def wrap(real: Any) -> Any:
        def changed(spec: Any, *rest: Any) -> tuple[float, float]:
            value, sd = real(spec, *rest)
            return change(spec, value), sd

        return changed

    return _wrapped(measure, "value_and_sd", wrap)


def _spreads(factor: float) -> Patch:
    return lambda: patch.object(measure, "Z95", factor * Z95)


def _residuals(change: Callable[[Any], Any]) -> Patch:
    return _wrapped(measure, "_residual", lambda real: lambda *given: change(real(*given)))


def _event(name: EventName, frames: float) -> Patch:
    """Shift an event by some frames of the clip."""

    def wrap(real: Any) -> Any:
        def shifted(motion: BodyMotion, *rest: Any) -> Any:
            located = real(motion, *rest)
            found = dict(located.events)
            if name in found:
                late = frames * float(np.median(np.diff(motion.time_s)))
                found[name] = replace(found[name], time_s=found[name].time_s + late)
            return replace(located, events=found)

        return shifted

    return _wrapped(engine, "locate", wrap)


def _event_sd(factor: float) -> Patch:
    def wrap(real: Any) -> Any:
        def scaled(*given: Any) -> Any:
            instant = real(*given)
            return replace(instant, sd_s=factor * instant.sd_s)

        return scaled

    return _wrapped(engine, "judged", wrap)


def _bodies(change: Callable[[Array], Array]) -> Patch:
    """Change the joints of every fitted body and of its samples; last axes (21, 3)."""

    def changed_estimate(estimate: BodyEstimate) -> BodyEstimate:
        motion = replace(estimate.motion, joints=change(estimate.motion.joints))
        return BodyEstimate(motion, lambda count, seed: change(estimate.sample(count, seed)))

    def wrap(real: Any) -> Any:
        return lambda *given: [
            body
            if body is None
            else replace(body, estimates=tuple(changed_estimate(e) for e in body.estimates))
            for body in real(*given)
        ]

    return _wrapped(engine, "film_bodies", wrap)


def _swapped_track() -> AbstractContextManager[object]:
    real, order = frozen.load, list(LANDMARKS.swap)

    def swapped(clip: str) -> JointTrack:
        track = real(clip)
        arrays = ("xy", "xy_raw", "confidence", "world", "disagreement_px")
        return replace(
            track,
            **{name: getattr(track, name)[:, order] for name in arrays},
            sources={name: values[:, order] for name, values in track.sources.items()},
        )

    return patch.object(measured, "load", swapped)


def _keyed(start: str, change: Callable[[float], float]) -> Patch:
    return _values(lambda spec, value: change(value) if spec.key.startswith(start) else value)


def _unit(unit: str, change: Callable[[float], float]) -> Patch:
    return _values(lambda spec, value: change(value) if spec.unit == unit else value)


_OTHER_HAND = {
    Handedness.LEFT: Handedness.RIGHT,
    Handedness.RIGHT: Handedness.LEFT,
    Handedness.UNKNOWN: Handedness.UNKNOWN,
}

NAMED: Mapping[str, Patch] = {
    "sign of the bias correction flipped": _residuals(lambda r: replace(r, bias=-r.bias)),
    "15 deg added to every angle": _unit("deg", lambda value: value + 15.0),
    "left and right landmarks swapped": _swapped_track,
    "trophy three frames late": _event(EventName.TROPHY, 3.0),
    "load share 1 - x": _keyed("rear_foot_load_share", lambda value: 1.0 - value),
}
"""The errors that a review found nothing to notice."""
MUTATIONS: Mapping[str, Patch] = {
    **NAMED,
    "front and rear side of the body swapped": _bodies(
        lambda j: j[..., list(CANONICAL_BODY.swap), :]
    ),
    "body mirrored in the vertical plane to the net": _bodies(lambda j: j * [1.0, -1.0, 1.0]),
    "body 5 % too large": _bodies(lambda j: 1.05 * j),
    "body turned by 10 deg": _bodies(
        lambda j: j @ np.array([[0.985, 0.174, 0.0], [-0.174, 0.985, 0.0], [0.0, 0.0, 1.0]])
    ),
    "contact two frames early": _event(EventName.CONTACT, -2.0),
    "set-up six frames late": _event(EventName.SET_UP, 6.0),
    "loading three frames early": _event(EventName.LOADING, -3.0),
    "the other hand": _wrapped(
        engine, "handedness_of", lambda real: lambda found: _OTHER_HAND[real(found)]
    ),
    "intervals halved": _spreads(0.5),
    "intervals doubled": _spreads(2.0),
    "residual spread left out": _residuals(lambda r: replace(r, sd=0.0)),
    "residuals left out": _residuals(lambda r: NOT_CALIBRATED),
    "event uncertainty halved": _event_sd(0.5),
    "nothing withheld": lambda: patch.object(measure, "why_not", lambda *given: None),
    "5 deg added to every angle": _unit("deg", lambda value: value + 5.0),
    "metres x 1.05": _unit("m", lambda value: 1.05 * value),
    "metres per second x 1.1": _unit("m/s", lambda value: 1.1 * value),
    "angular speeds x 1.1": _unit("deg/s", lambda value: 1.1 * value),
    "durations 0.1 s too long": _unit("s", lambda value: value + 0.1),
    "sequence 20 ms late": _keyed("sequence_", lambda value: value + 20.0),
    "sign of turns flipped": _keyed("pelvis_turn", lambda value: -value),
    "sign of the lateral tilt flipped": _keyed("trunk_lateral_tilt", lambda value: -value),
    "load share + 0.05": _keyed("rear_foot_load_share", lambda value: value + 0.05),
    "hold duration halved": _keyed("hold_duration", lambda value: 0.5 * value),
    "hold load share 1 - x": _keyed("hold_rear_foot_load_share", lambda value: 1.0 - value),
    "throw elevation over the vertical": _keyed("throw_elevation", lambda value: 90.0 - value),
    "hip drop against the thigh's length": _keyed("rear_hip_drop", lambda value: 4.0 * value),
}


@contextmanager
def remembered_bodies() -> Iterator[None]:
    """Fit each body only once while this lasts: `engine.film_bodies` depends on its arguments."""
    real = getattr(engine, "film_bodies")  # noqa: B009, whatever stands there now
    known: dict[Any, Any] = {}

    def remembered(
        track: JointTrack, found: Any, hand: Handedness, request: Any, *rest: Any
    ) -> Any:
        asked = replace(request, calibrated=True)
        key = (track.xy_raw.tobytes(), track.world.tobytes(), repr((found, hand, asked)))
        if key not in known:
            known[key] = real(track, found, hand, request, *rest)
        return known[key]

    with patch.object(engine, "film_bodies", remembered):
        yield


def try_mutation(name: str, limits: Mapping[str, Limit], *, quick: bool = False) -> Caught:
    """Run the guard with an error in the engine; ``quick`` looks at the values as reported only."""
    if quick:
        limits = {key: limit for key, limit in limits.items() if key.startswith("film | ")}
    with MUTATIONS[name]():
        found = figures(measured.measure_all(quick=quick))
    return Caught(name, tuple(failures(found, limits)))
