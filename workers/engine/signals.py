"""Slow, view-independent series that tell what kind of work a clip shows.

Heights are measured along the vertical in torso lengths, so they read the same from film (image
rows) and from joints in metres, and from any camera azimuth.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from models.contract.skeleton import ANATOMICAL_BODY, CANONICAL_BODY, LANDMARKS, Skeleton
from models.contract.tracks import BodyMotion, BoolArray, FloatArray, IntArray, JointTrack
from workers.engine.geometry import flexion, norm
from workers.engine.smoothing import local_fit

SIDES = ("left", "right")
HALF_WIDTH_S = 0.05
"""Half width of the fits that give places and speeds, seconds (working value)."""
DRIFT_HALF_WIDTH_S = 0.2
"""Half width of the fit that gives the slow drift of a posture, seconds (working value)."""
STEP_HALF_WIDTH_S = 0.5
"""Half width of the stretch in which the frame interval is judged, seconds (working value)."""
UNSURE = 0.5
"""Confidence below which a joint may be where it is not for a moment (working value, as pictures
draw it; of jumping wrists in small compressed pictures 0.0 to 0.4)."""
_PARTS = ("shoulder", "elbow", "wrist", "hip", "knee", "ankle")
_POINTS = Skeleton(("nose", *(name for part in _PARTS for name in ANATOMICAL_BODY.both(part))))
"""What is read of a body; the canonical one is a right-hander's."""


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
        The same smoothed over 0.4 s, without hands that are hardly seen: stillness in spite of
        joint noise.
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

    def step_s(self, time_s: float) -> float:
        """Return the median frame interval around an instant, seconds.

        Frames need not be seen equally often everywhere.
        """
        near = self.time_s[np.abs(self.time_s - time_s) <= STEP_HALF_WIDTH_S]
        return float(np.median(np.diff(near))) if len(near) > 1 else float("inf")


def from_track(track: JointTrack) -> Signals | None:
    """Return the signals of a filmed person, or None when seen in fewer than eight frames."""
    rows = LANDMARKS.rows(_POINTS)
    pixels = track.xy[:, rows]
    seen = np.flatnonzero(
        np.isfinite(pixels).all(axis=(1, 2)) & np.isfinite(track.world[:, rows]).all(axis=(1, 2))
    )
    if seen.size < 8:
        return None
    plane = np.stack([pixels[seen, :, 0], -pixels[seen, :, 1]], axis=-1)
    sure = track.confidence[seen][:, rows] >= UNSURE
    return _signals(track.time_s[seen], seen, plane, track.world[seen][:, rows], sure)


def from_motion(motion: BodyMotion) -> Signals | None:
    """Return the signals of a body in metres, or None when it has fewer than eight frames."""
    return from_joints(motion.time_s, motion.joints, CANONICAL_BODY)


def from_joints(time_s: FloatArray, joints: FloatArray, skeleton: Skeleton) -> Signals | None:
    """The same of joints (T, 21, 3), metres, z up; a canonical body hits with its right."""
    rows = [row for part in _PARTS for row in skeleton.pair(part)]
    points = joints[:, [skeleton.index("nose"), *rows]]
    seen = np.flatnonzero(np.isfinite(points).all(axis=(1, 2)))
    if seen.size < 8:
        return None
    return _signals(time_s[seen], seen, points[seen], points[seen])


def _signals(
    time_s: FloatArray,
    index: IntArray,
    points: FloatArray,
    space: FloatArray,
    sure: BoolArray | None = None,
) -> Signals:
    """Build the series; the last axis of ``points`` has the vertical last, up positive.

    ``sure``: where each point was seen surely, (T, P); None = everywhere.
    """
    place, velocity, _ = local_fit(time_s, points.transpose(1, 0, 2), HALF_WIDTH_S, 2)

    def mid(array: FloatArray, name: str) -> FloatArray:
        first, second = _POINTS.pair(name)
        return np.asarray((array[first] + array[second]) / 2.0)

    unit = float(np.percentile(norm(mid(place, "shoulder") - mid(place, "hip")), 75))
    unit = max(unit, 1e-6)
    shoulder, hip, ankle = (mid(place, name) for name in ("shoulder", "hip", "ankle"))
    bend = space.transpose(1, 0, 2)

    def angle(side: str, names: tuple[str, str, str]) -> FloatArray:
        return flexion(*bend[_POINTS.rows(f"{side}_{name}" for name in names)])

    moving = [*_POINTS.pair("wrist"), *_POINTS.pair("hip"), _POINTS.index("nose")]
    speeds = norm(velocity[moving])
    paths = points[:, moving].transpose(1, 0, 2)
    slow = norm(local_fit(time_s, paths, DRIFT_HALF_WIDTH_S)[1])
    if sure is not None:
        for row, point in enumerate(_POINTS.pair("wrist")):
            slow[row, _near(time_s, ~sure[:, point], DRIFT_HALF_WIDTH_S)] = 0.0
    flat = hip[:, :-1] - hip[:, :-1].mean(axis=0)
    main = np.linalg.svd(flat, full_matrices=False)[2][0]
    knees = np.mean([angle(side, ("hip", "knee", "ankle")) for side in SIDES], axis=0)
    return Signals(
        time_s=time_s,
        index=index,
        wrist={s: (place[_POINTS.index(f"{s}_wrist")] - shoulder)[:, -1] / unit for s in SIDES},
        rise={s: velocity[_POINTS.index(f"{s}_wrist")][:, -1] / unit for s in SIDES},
        elbow={s: angle(s, ("shoulder", "elbow", "wrist")) for s in SIDES},
        knees=np.asarray(knees),
        hips=(hip - ankle)[:, -1] / unit,
        travel=flat @ main / unit,
        activity=np.max(speeds, axis=0) / unit,
        drift=np.max(slow, axis=0) / unit,
    )


def _near(time_s: FloatArray, marked: BoolArray, within_s: float) -> BoolArray:
    """Return which samples have a marked one within so many seconds, (T,)."""
    count = np.concatenate([[0], np.cumsum(marked)])
    first = np.searchsorted(time_s, time_s - within_s)
    last = np.searchsorted(time_s, time_s + within_s, side="right")
    return np.asarray(count[last] > count[first])
