"""Two fitted bodies on one phase axis and at one body scale."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.contract.skeleton import CANONICAL_BODY
from models.contract.tracks import BodyMotion, FloatArray
from workers.decide.timewarp import Registration


@dataclass(frozen=True, slots=True)
class MatchedTrajectories:
    """Joint paths of two repetitions at equal phases.

    Attributes
    ----------
    phase : ndarray, shape (N,)
    first, second : ndarray, shape (N, 21, 3)
        Court frame, canonical right-hander, in statures (metres / standing height).
    distance : ndarray, shape (N, 21)
        Distance between the two, statures.
    """

    phase: FloatArray
    first: FloatArray
    second: FloatArray
    distance: FloatArray


def match_trajectories(
    first: BodyMotion, second: BodyMotion, registration: Registration, *, per_phase: int = 25
) -> MatchedTrajectories:
    """Resample two bodies to common phases and divide by stature.

    Joints are already canonical (left-handers mirrored), so nothing is mirrored here.
    """
    if per_phase < 2:
        raise ValueError("per_phase must be at least 2")
    phase = np.linspace(0, len(registration.events) - 1, (len(registration.events) - 1) * per_phase)
    one = _resample(first, registration.to_time(phase)) / first.stature_m
    two = _resample(second, registration.to_time(phase, second=True)) / second.stature_m
    return MatchedTrajectories(
        phase=phase, first=one, second=two, distance=np.linalg.norm(two - one, axis=2)
    )


def _resample(body: BodyMotion, time_s: FloatArray) -> FloatArray:
    """Interpolate joints at given times; NaN outside the body's window."""
    out = np.empty((len(time_s), len(CANONICAL_BODY), 3))
    for j in range(out.shape[1]):
        for axis in range(3):
            out[:, j, axis] = np.interp(
                time_s, body.time_s, body.joints[:, j, axis], left=np.nan, right=np.nan
            )
    return out
