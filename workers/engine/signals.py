"""Slow, view-independent series that tell what kind of work a clip shows.

Heights are measured along the vertical in torso lengths, so they read the same from film (image
rows) and from joints in metres, and from any camera azimuth.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from models.contract.tracks import BodyMotion, FloatArray, IntArray, JointTrack
from models.contract.vocabulary import BODY_JOINTS, LANDMARKS
from workers.engine.geometry import flexion, norm
from workers.engine.smoothing import local_fit

SIDES = ("left", "right")
HALF_WIDTH_S = 0.05
DRIFT_HALF_WIDTH_S = 0.2
_POINTS = (
    "nose",
    *(
        f"{side}_{j}"
        for j in ("shoulder", "elbow", "wrist", "hip", "knee", "ankle")
        for side in SIDES
    ),
)


@dataclass(frozen=True, slots=True)
class Signals:
    """Series over the frames in which the person was seen.

    Attributes
    ----------
    time_s : ndarray, shape (T,)
    index : ndarray of int, shape (T,)
        Row of the source (track or motion) of each sample.
    wrist : mapping of side to ndarray, shape (T,)
        Height of the wrist over the mid-shoulder, torso lengths.
    rise : mapping of side to ndarray, shape (T,)
        Its upward speed, torso lengths per second.
    elbow : mapping of side to ndarray, shape (T,)
        Elbow flexion, deg (film: the network's own 3D).
    knees : ndarray, shape (T,)
        Mean knee flexion, deg (film: the network's own 3D).
    hips : ndarray, shape (T,)
        Height of the mid-hip over the mid-ankle, torso lengths.
    travel : ndarray, shape (T,)
        Horizontal place of the mid-hip along its main direction, torso lengths.
    activity : ndarray, shape (T,)
        Speed of the fastest of hands, hips and head, torso lengths per second.
    drift : ndarray, shape (T,)
        The same smoothed over 0.4 s: stillness in spite of joint noise.
    """

    time_s: FloatArray
    index: IntArray
    wrist: Mapping[str, FloatArray]
    rise: Mapping[str, FloatArray]
    elbow: Mapping[str, FloatArray]
    knees: FloatArray
    hips: FloatArray
    travel: FloatArray
    activity: FloatArray
    drift: FloatArray

    def __len__(self) -> int:
        return len(self.time_s)

    @property
    def step_s(self) -> float:
        """Median frame interval, seconds."""
        return float(np.median(np.diff(self.time_s)))


def from_track(track: JointTrack) -> Signals | None:
    """Return the signals of a filmed person, or None when seen in fewer than eight frames."""
    rows = [LANDMARKS.index(name) for name in _POINTS]
    pixels = track.xy[:, rows]
    seen = np.flatnonzero(
        np.isfinite(pixels).all(axis=(1, 2)) & np.isfinite(track.world[:, rows]).all(axis=(1, 2))
    )
    if seen.size < 8:
        return None
    plane = np.stack([pixels[seen, :, 0], -pixels[seen, :, 1]], axis=-1)
    return _signals(track.time_s[seen], seen, plane, track.world[seen][:, rows])


def from_motion(motion: BodyMotion) -> Signals | None:
    """Return the signals of a body in metres, or None when it has fewer than eight frames."""
    rows = [BODY_JOINTS.index(name) for name in _POINTS]
    joints = motion.joints[:, rows]
    seen = np.flatnonzero(np.isfinite(joints).all(axis=(1, 2)))
    if seen.size < 8:
        return None
    return _signals(motion.time_s[seen], seen, joints[seen], joints[seen])


def _signals(time_s: FloatArray, index: IntArray, points: FloatArray, space: FloatArray) -> Signals:
    """Build the series; the last axis of ``points`` has the vertical last, up positive."""
    place, velocity, _ = local_fit(time_s, points.transpose(1, 0, 2), HALF_WIDTH_S, 2)
    column = {name: i for i, name in enumerate(_POINTS)}

    def mid(array: FloatArray, name: str) -> FloatArray:
        return np.asarray((array[column[f"left_{name}"]] + array[column[f"right_{name}"]]) / 2.0)

    unit = float(np.percentile(norm(mid(place, "shoulder") - mid(place, "hip")), 75))
    unit = max(unit, 1e-6)
    shoulder, hip, ankle = (mid(place, name) for name in ("shoulder", "hip", "ankle"))
    bend = space.transpose(1, 0, 2)

    def angle(side: str, names: tuple[str, str, str]) -> FloatArray:
        return flexion(*(bend[column[f"{side}_{name}"]] for name in names))

    moving = ("left_wrist", "right_wrist", "left_hip", "right_hip", "nose")
    speeds = np.stack([norm(velocity[column[name]]) for name in moving])
    paths = np.stack([points[:, column[name]] for name in moving])
    slow = norm(local_fit(time_s, paths, DRIFT_HALF_WIDTH_S)[1])
    flat = hip[:, :-1] - hip[:, :-1].mean(axis=0)
    main = np.linalg.svd(flat, full_matrices=False)[2][0]
    knees = np.mean([angle(side, ("hip", "knee", "ankle")) for side in SIDES], axis=0)
    return Signals(
        time_s=time_s,
        index=index,
        wrist={s: (place[column[f"{s}_wrist"]] - shoulder)[:, -1] / unit for s in SIDES},
        rise={s: velocity[column[f"{s}_wrist"]][:, -1] / unit for s in SIDES},
        elbow={s: angle(s, ("shoulder", "elbow", "wrist")) for s in SIDES},
        knees=np.asarray(knees),
        hips=(hip - ankle)[:, -1] / unit,
        travel=flat @ main / unit,
        activity=np.max(speeds, axis=0) / unit,
        drift=np.max(slow, axis=0) / unit,
    )
