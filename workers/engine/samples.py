"""One repetition as the metrics see it: joint samples over time, and event times per sample."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from scipy.sparse import csr_array

from models.contract.skeleton import CANONICAL_BODY as BODY
from models.contract.tracks import FloatArray, IntArray
from models.contract.vocabulary import EventName, Sex
from workers.engine.load import foot_point
from workers.engine.mass import centre_of_mass
from workers.engine.proportions import HEEL_HEIGHT, SOLE_HEIGHT
from workers.engine.smoothing import apply_in_time, local_operators

DERIVATIVE_HALF_WIDTH_S = 0.04
"""Half window of velocities of fast points (see `workers.engine.smoothing.local_fit`)."""
LOAD_HALF_WIDTH_S, LOAD_DEGREE = 0.2, 4
"""Half window in seconds, and degree of the polynomial in it, of accelerations of the body's mass,
which are slow and noisy (chosen on two adults walking over force plates: a quadratic over 0.12 s
follows 0.64 of the true change of load, a quartic over 0.2 s 0.71)."""


@dataclass(frozen=True, slots=True)
class Pose:
    """Joints at one instant, shape (S, 21, 3): one row per Monte Carlo sample."""

    joints: FloatArray

    def joint(self, name: str) -> FloatArray:
        """Return one joint, shape (S, 3)."""
        return BODY.at(self.joints, name)

    def mid(self, part: str) -> FloatArray:
        """Return the mid-point of the two joints of a part (``hip``), shape (S, 3)."""
        return BODY.middle(self.joints, part)


@dataclass(frozen=True, slots=True)
class Samples:
    """A repetition as S samples of joint paths and event times; S = 1 is the best estimate.

    Canonical body in the court frame (x toward the target, z up, metres), joints named by role.

    Attributes
    ----------
    time_s : ndarray, shape (T,)
    joints : ndarray, shape (S, T, 21, 3)
    events : mapping of EventName to ndarray, shape (S,)
        Seconds; an absent event was not found.
    stature_m : ndarray, shape (S,)
        Standing height.
    sex : Sex
        Segment table.
    floor_z : float
        Height of the floor in the court frame (the origin is at ankle height).
    served : ndarray, shape (S,), optional
        Speed of the served ball just after contact, m/s.
    """

    time_s: FloatArray
    joints: FloatArray
    events: Mapping[EventName, FloatArray]
    stature_m: FloatArray
    sex: Sex = Sex.UNKNOWN
    floor_z: float = 0.0
    served: FloatArray | None = None
    _memory: dict[object, FloatArray] = field(default_factory=dict, repr=False, compare=False)
    _operators: dict[float, tuple[csr_array, csr_array, csr_array]] = field(
        default_factory=dict, repr=False, compare=False
    )

    @property
    def ball_speed(self) -> FloatArray:
        """Speed of the served ball, m/s, shape (S,); NaN where it was not followed."""
        return np.full(self.count, np.nan) if self.served is None else self.served

    @property
    def count(self) -> int:
        """Number of samples S."""
        return int(self.joints.shape[0])

    def when(self, event: EventName) -> FloatArray:
        """Return the time of an event per sample, seconds, shape (S,); NaN if not found."""
        times = self.events.get(event)
        return np.full(self.count, np.nan) if times is None else times

    def pose(self, event: EventName) -> Pose:
        """Return the joints at an event, interpolated between frames."""
        key = ("pose", event)
        if key not in self._memory:
            self._memory[key] = self.at_instant(self.joints, self.when(event))
        return Pose(self._memory[key])

    def at_instant(self, paths: FloatArray, instant_s: FloatArray) -> FloatArray:
        """Return paths (S, T, ...) at one instant per sample, shape (S, ...)."""
        rows, count = paths.shape[:2]
        known = np.isfinite(instant_s)
        t = np.clip(np.where(known, instant_s, self.time_s[0]), self.time_s[0], self.time_s[-1])
        i = np.clip(np.searchsorted(self.time_s, t, side="right") - 2, 0, max(count - 4, 0))
        tail = paths.shape[2:]
        near = np.stack([paths[np.arange(rows), np.minimum(i + k, count - 1)] for k in range(4)])
        nodes = np.stack([self.time_s[np.minimum(i + k, count - 1)] for k in range(4)])
        result = np.zeros((rows, *tail))
        for k in range(4):
            weight = np.ones(rows)
            for m in range(4):
                if m != k:
                    gap = nodes[k] - nodes[m]
                    weight = weight * np.where(
                        gap == 0, 1.0, (t - nodes[m]) / np.where(gap == 0, 1.0, gap)
                    )
            result += near[k] * weight.reshape(rows, *([1] * len(tail)))
        return np.where(known.reshape(rows, *([1] * len(tail))), result, np.nan)

    def path(self, name: str) -> FloatArray:
        """Return one joint's path, shape (S, T, 3)."""
        return BODY.at(self.joints, name)

    def mid_path(self, part: str) -> FloatArray:
        """Return the path of the mid-point of the two joints of a part, shape (S, T, 3)."""
        return BODY.middle(self.joints, part)

    def com(self) -> FloatArray:
        """Return the path of the centre of mass, shape (S, T, 3)."""
        if "com" not in self._memory:
            self._memory["com"] = centre_of_mass(self.joints, self.sex)
        return self._memory["com"]

    def feet(self) -> tuple[FloatArray, FloatArray]:
        """Return where the rear and the front foot press on the floor, each (S, T, 3)."""
        tall = self.stature_m[:, None]
        flat = (HEEL_HEIGHT - SOLE_HEIGHT) * tall
        rear, front = (
            foot_point(self.path(f"{side}_heel"), self.path(f"{side}_toe"), flat, tall)
            for side in ("rear", "front")
        )
        return rear, front

    def mass_acceleration(self, rows: IntArray) -> FloatArray:
        """Return the joints' slow accelerations at some frames, (S, R, 21, 3), m/s²."""
        operator = local_operators(self.time_s, LOAD_HALF_WIDTH_S, LOAD_DEGREE)[2][rows]
        count, frames = self.joints.shape[:2]
        flat = np.moveaxis(self.joints, 1, 0).reshape(frames, -1)
        return np.moveaxis(
            (operator @ flat).reshape(len(rows), count, *self.joints.shape[2:]), 0, 1
        )

    def derivative(
        self, path: FloatArray, order: int = 1, half_width_s: float = DERIVATIVE_HALF_WIDTH_S
    ) -> FloatArray:
        """Return the first or second time derivative of a path (S, T, D) on its own times."""
        if half_width_s not in self._operators:
            self._operators[half_width_s] = local_operators(self.time_s, half_width_s)
        return apply_in_time(self._operators[half_width_s][order], path)

    def between(
        self, first: EventName, last: EventName, before_s: float = 0.0, after_s: float = 0.0
    ) -> FloatArray:
        """Return which frames lie between two events, shape (S, T) of bool (as float mask)."""
        start = self.when(first)[:, None] - before_s
        end = self.when(last)[:, None] + after_s
        return np.asarray((self.time_s >= start) & (self.time_s <= end))

    def extreme(
        self, series: FloatArray, mask: FloatArray, sign: int = 1
    ) -> tuple[FloatArray, FloatArray]:
        """Return the largest (sign +1) or smallest (-1) value within a mask, and its time.

        The peak is refined by a parabola through its neighbours. NaN where the mask is empty.

        Returns
        -------
        tuple of ndarray, each shape (S,)
            Value and time in seconds.
        """
        return masked_extreme(self.time_s, series, mask, sign)


def masked_extreme(
    time_s: FloatArray, series: FloatArray, mask: FloatArray, sign: int = 1
) -> tuple[FloatArray, FloatArray]:
    """Return value and time of a masked extreme, refined by a parabola; shapes (S, T) -> (S,)."""
    rows, count = series.shape
    level = np.where(mask & np.isfinite(series), sign * series, -np.inf)
    best = np.argmax(level, axis=1)
    row = np.arange(rows)
    found = np.isfinite(level[row, best])
    inner = np.clip(best, 1, max(count - 2, 1))
    value = np.where(found, series[row, best], np.nan)
    time = np.where(found, time_s[best], np.nan)
    if count < 3:
        return value, time
    y0, y1, y2 = (sign * series[row, inner + k] for k in (-1, 0, 1))
    t0, t1, t2 = (time_s[inner + k] for k in (-1, 0, 1))
    d0, d2 = (y0 - y1) / (t0 - t1), (y2 - y1) / (t2 - t1)
    curve = (d2 - d0) / (t2 - t0)
    slope = d0 + curve * (t1 - t0)
    peaked = found & (inner == best) & (y1 >= y0) & (y1 >= y2) & (curve < 0)
    shift = np.where(peaked, -slope / np.where(peaked, 2 * curve, 1.0), 0.0)
    shift = np.clip(shift, t0 - t1, t2 - t1)
    gain = np.where(peaked, slope * shift + curve * shift**2, 0.0)
    return np.asarray(value + sign * gain), np.asarray(time + shift)
