"""Numbers that change with every frame, read off the fitted body; what is not known is hidden."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from models.contract.analysis import Metric, Repetition
from models.contract.interval import Z95
from models.contract.metrics.catalogue import CATALOGUE
from models.contract.metrics.definition import LiveReading
from models.contract.skeleton import CANONICAL_BODY
from models.contract.tracks import BodyMotion, FloatArray
from models.contract.vocabulary import EventName

UNKNOWN = 2.0
"""A reading is hidden whose standard deviation is so many times that of the number measured at its
instant, or the mean error up to which such a number is reported at all (working value)."""


@dataclass(frozen=True, slots=True)
class Reading:
    """One number over the frames of a body, with its standard deviation."""

    key: str
    unit: str
    value: FloatArray
    sd: FloatArray

    @property
    def title(self) -> str:
        """Used only where the catalogue has no title."""
        return self.key.replace("_", " ").capitalize()


def readings(
    body: BodyMotion,
    centre_of_mass: FloatArray | None = None,
    set_up_s: float | None = None,
) -> list[Reading]:
    """Return what a film shows at every frame, in each metric's unit, shape (T,).

    Flexion is 180 deg less the angle at the joint (0 = straight); tilt is the elevation of the
    front over the rear shoulder; turn counts about the vertical from set-up, away from the target;
    the share of the weight is the posture's (`models.contract.metrics.families.weight`). Standard
    deviations follow from those of the joint coordinates by first-order propagation, the
    coordinates taken as independent.

    Parameters
    ----------
    centre_of_mass : ndarray, shape (T, 3), or None
        Metres, court frame. Without it there is no share of the weight.
    set_up_s : float or None
        Time of the set-up, seconds. Without it there is no turn.
    """
    found = []
    for metric in CATALOGUE.ranked():
        live = metric.drawn.live
        if live is None:
            continue
        points = np.stack([body.joint(name) for name in live.joints]).astype(np.float64)
        sd = np.stack([CANONICAL_BODY.at(body.sd, name) for name in live.joints])
        if live.reading is LiveReading.SHARE:
            if centre_of_mass is None:
                continue
            # Joints of one body err alike, so their mean does not err less than one of them.
            own = np.sqrt(np.nanmean(body.sd**2, axis=1))
            points = np.concatenate([points, np.asarray(centre_of_mass)[None]])
            sd = np.concatenate([sd, own[None]])
        value, error = _propagated(points, sd, _FORMULAS[live.reading])
        reading = Reading(metric.key, metric.unit.value, value, error)
        if live.reading is LiveReading.TURN:
            if set_up_s is None or len(body) == 0:
                continue
            reading = _since(reading, int(np.argmin(np.abs(body.time_s - set_up_s))))
        found.append(reading)
    return found


def known_readings(
    body: BodyMotion, repetition: Repetition, centre_of_mass: FloatArray | None = None
) -> list[Reading]:
    """Return the readings of a repetition that its film supports, NaN where it does not.

    A metric that was measured at none of its instants is not known between them either. A reading
    is never stated as surer than the metric was measured, and where it contradicts what was
    measured at that very instant, the body drawn is not the one that was measured.
    """
    start = repetition.events.get(EventName.SET_UP)
    found = []
    for reading in readings(body, centre_of_mass, None if start is None else start.time_s):
        measured = [m for m in repetition.metrics if m.key == reading.key and m.measurable]
        if measured and all(_agrees(reading, body, repetition, m) for m in measured):
            found.append(_kept(reading, min(_sd(m) for m in measured), _tolerance(reading.key)))
    return found


def _agrees(reading: Reading, body: BodyMotion, repetition: Repetition, metric: Metric) -> bool:
    event = None if metric.event is None else repetition.events.get(metric.event)
    if event is None or metric.low is None or metric.high is None or len(body) == 0:
        return True
    row = int(np.argmin(np.abs(body.time_s - event.time_s)))
    here = float(reading.value[row])
    return not np.isfinite(here) or metric.low <= here <= metric.high


def _sd(metric: Metric) -> float:
    assert metric.low is not None
    assert metric.high is not None
    return (metric.high - metric.low) / (2.0 * Z95)


def _tolerance(key: str) -> float:
    known = CATALOGUE.get(key)
    return float("inf") if known is None or known.tolerance is None else known.tolerance


def _kept(reading: Reading, sd: float, tolerance: float) -> Reading:
    stated = np.maximum(reading.sd, sd)
    known = stated <= UNKNOWN * min(sd, tolerance)
    return replace(
        reading,
        value=np.where(known, reading.value, np.nan),
        sd=np.where(known, stated, np.nan),
    )


def _since(reading: Reading, row: int) -> Reading:
    """Return a turn counted from one row, with the error of that row in it."""
    seen = np.isfinite(reading.value)
    turned = np.full_like(reading.value, np.nan)
    turned[seen] = np.degrees(np.unwrap(np.radians(reading.value[seen])))
    return replace(reading, value=turned - turned[row], sd=np.hypot(reading.sd, reading.sd[row]))


def _flexion(points: FloatArray) -> FloatArray:
    a, b, c = points
    one, two = a - b, c - b
    cosine = np.sum(one * two, axis=-1) / (
        np.linalg.norm(one, axis=-1) * np.linalg.norm(two, axis=-1)
    )
    return np.asarray(180.0 - np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0))))


def _tilt(points: FloatArray) -> FloatArray:
    line = points[1] - points[0]
    return np.asarray(np.degrees(np.arctan2(line[..., 2], np.linalg.norm(line[..., :2], axis=-1))))


def _turn(points: FloatArray) -> FloatArray:
    line = points[1] - points[0]
    return np.asarray(np.degrees(np.arctan2(line[..., 0], line[..., 1])))


def _share(points: FloatArray) -> FloatArray:
    rear, front, com = (points[0] + points[1]) / 2, (points[2] + points[3]) / 2, points[4]
    line, offset = (front - rear)[..., :2], (com - rear)[..., :2]
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(1.0 - np.sum(offset * line, axis=-1) / np.sum(line * line, axis=-1))


_FORMULAS: Mapping[LiveReading, Callable[[FloatArray], FloatArray]] = {
    LiveReading.FLEXION: _flexion,
    LiveReading.ELEVATION: _tilt,
    LiveReading.TURN: _turn,
    LiveReading.SHARE: _share,
}


def _propagated(
    points: FloatArray, sd: FloatArray, formula: Callable[[FloatArray], FloatArray]
) -> tuple[FloatArray, FloatArray]:
    """Return a formula's value and its standard deviation; points and errors (J, T, 3)."""
    value = formula(points)
    variance = np.zeros_like(value)
    step = 1e-4
    for joint in range(len(points)):
        for axis in range(3):
            moved = points.copy()
            moved[joint, :, axis] += step
            variance += ((formula(moved) - value) / step * sd[joint, :, axis]) ** 2
    return value, np.sqrt(variance)
