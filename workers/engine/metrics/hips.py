"""Where the hips go between set-up and loading, in leg lengths."""

from __future__ import annotations

import numpy as np

from models.contract.tracks import FloatArray
from models.contract.vocabulary import EventName
from workers.engine.geometry import norm
from workers.engine.metrics.spec import Formulas
from workers.engine.samples import Pose, Samples

_X, _Z = 0, 2
"""Columns of a joint: toward the target, and up."""


def leg_length(pose: Pose) -> FloatArray:
    """Return thigh plus shank length, mean of both legs, metres, shape (S,)."""
    total = np.zeros(pose.joints.shape[0])
    for side in ("front", "rear"):
        hip, knee, ankle = (pose.joint(f"{side}_{j}") for j in ("hip", "knee", "ankle"))
        total = total + (norm(hip - knee) + norm(knee - ankle)) / 2.0
    return np.asarray(total)


def rear_hip_drop(body: Samples) -> FloatArray:
    """How far the rear hip sinks from set-up to loading, in leg lengths; down = positive."""
    start, loaded = body.pose(EventName.SET_UP), body.pose(EventName.LOADING)
    drop = start.joint("rear_hip")[..., _Z] - loaded.joint("rear_hip")[..., _Z]
    return np.asarray(drop / leg_length(loaded))


def rear_hip_setback(body: Samples) -> FloatArray:
    """How far the rear hip moves away from the target, set-up to loading, in leg lengths.

    Away from the target = positive; the origin does not move with the body.
    """
    start, loaded = body.pose(EventName.SET_UP), body.pose(EventName.LOADING)
    back = start.joint("rear_hip")[..., _X] - loaded.joint("rear_hip")[..., _X]
    return np.asarray(back / leg_length(loaded))


def front_hip_advance(body: Samples) -> FloatArray:
    """How far the front hip is beyond the front ankle toward the target at loading, leg lengths."""
    pose = body.pose(EventName.LOADING)
    ahead = pose.joint("front_hip")[..., _X] - pose.joint("front_ankle")[..., _X]
    return np.asarray(ahead / leg_length(pose))


FORMULAS: Formulas = {
    "rear_hip_drop": rear_hip_drop,
    "rear_hip_setback": rear_hip_setback,
    "front_hip_advance": front_hip_advance,
}
