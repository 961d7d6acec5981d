"""Numbers that change with every frame, read off the fitted body."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from models.contract.metrics.catalogue import CATALOGUE
from models.contract.metrics.definition import LiveAngle
from models.contract.skeleton import CANONICAL_BODY
from models.contract.tracks import BodyMotion, FloatArray


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


def readings(body: BodyMotion) -> list[Reading]:
    """Return the angles that a film shows at every frame, degrees, shape (T,).

    Flexion is 180 deg less the angle at the joint (0 = straight); tilt is the elevation of the
    front over the rear shoulder. Standard deviations follow from those of the joint coordinates
    by first-order propagation, the coordinates taken as independent.
    """
    return [
        _propagated(metric.key, metric.unit.value, body, live.joints, _FORMULAS[live.angle])
        for metric in CATALOGUE.ranked()
        if (live := metric.drawn.live) is not None
    ]


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


_FORMULAS: Mapping[LiveAngle, Callable[[FloatArray], FloatArray]] = {
    LiveAngle.FLEXION: _flexion,
    LiveAngle.ELEVATION: _tilt,
}


def _propagated(
    key: str,
    unit: str,
    body: BodyMotion,
    joints: tuple[str, ...],
    formula: Callable[[FloatArray], FloatArray],
) -> Reading:
    points = np.stack([body.joint(name) for name in joints]).astype(np.float64)
    sd = np.stack([CANONICAL_BODY.at(body.sd, name) for name in joints])
    value = formula(points)
    variance = np.zeros_like(value)
    step = 1e-4
    for joint in range(len(joints)):
        for axis in range(3):
            moved = points.copy()
            moved[joint, :, axis] += step
            variance += ((formula(moved) - value) / step * sd[joint, :, axis]) ** 2
    return Reading(key, unit, value, np.sqrt(variance))
