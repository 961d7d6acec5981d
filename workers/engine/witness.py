"""Heights and speeds the events are timed by, taken from where they are known best.

From film that is the picture itself: image rows are not touched by errors of depth. From joints
in metres it is the joints.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.contract.skeleton import CANONICAL_BODY, LANDMARKS, counterpart
from models.contract.tracks import BodyMotion, FloatArray, IntArray, JointTrack
from workers.engine.geometry import norm
from workers.engine.smoothing import local_fit

TORSO_SHARE = 0.288
"""Mid-shoulder to mid-hip over standing height (de Leva 1996: 0.287 to 0.296)."""
FAST_HALF_WIDTH_S = 0.035
"""Half width of the fits to moving points, seconds (working value)."""
SLOW_HALF_WIDTH_S = 0.08
"""Half width of the fit that tells stillness, seconds (working value)."""


@dataclass(frozen=True, slots=True)
class Witness:
    """Series over the frames of one repetition, in standing heights (and per second).

    Attributes
    ----------
    time_s : ndarray, shape (T,)
    hand : ndarray, shape (T,)
        Height of the hitting wrist, any origin.
    toss : ndarray, shape (T,)
        Height of the tossing wrist over the tossing shoulder.
    hips : ndarray, shape (T,)
        Height of the mid-hip, any origin.
    activity : ndarray, shape (T,)
        Speed of the fastest of both wrists and hips, smoothed over 0.16 s.
    hand_speed : ndarray, shape (T,)
        Speed of the hitting wrist.
    """

    time_s: FloatArray
    hand: FloatArray
    toss: FloatArray
    hips: FloatArray
    activity: FloatArray
    hand_speed: FloatArray


def from_motion(motion: BodyMotion) -> Witness:
    """Return the series of joints in metres."""

    def path(name: str) -> FloatArray:
        return motion.joint(name) / motion.stature_m

    return from_paths(motion.time_s, {name: path(name) for name in _NAMES})


def from_film(
    track: JointTrack, rows: IntArray, time_s: FloatArray, left_handed: bool
) -> Witness | None:
    """Return the series of a filmed person at some rows of the track, or None where unseen.

    Parameters
    ----------
    track : JointTrack
    rows : ndarray of int, shape (T,)
    time_s : ndarray, shape (T,)
        Times of these rows.
    left_handed : bool
        Which hand hits.
    """
    pixels = track.xy_raw[rows]
    if not np.isfinite(pixels).all():
        return None

    def path(name: str) -> FloatArray:
        source = LANDMARKS.index(counterpart(name, left_handed=left_handed))
        return np.asarray(pixels[:, source] * np.array([1.0, -1.0]))

    paths = {name: path(name) for name in _NAMES}
    torso = (
        paths["tossing_shoulder"]
        + paths["hitting_shoulder"]
        - paths["front_hip"]
        - paths["rear_hip"]
    ) / 2.0
    stature = float(np.percentile(norm(torso), 75)) / TORSO_SHARE
    return from_paths(time_s, {name: points / stature for name, points in paths.items()})


_NAMES = tuple(n for part in ("shoulder", "wrist", "hip") for n in CANONICAL_BODY.both(part))


def from_paths(time_s: FloatArray, paths: dict[str, FloatArray]) -> Witness:
    """Return the series of named paths (T, 2 or 3), standing heights, the vertical last, up."""

    def fast(series: FloatArray) -> tuple[FloatArray, FloatArray]:
        value, speed, _ = local_fit(time_s, series, FAST_HALF_WIDTH_S)
        return value, norm(speed)

    hand, hand_speed = fast(paths["hitting_wrist"])
    toss, _ = fast(paths["tossing_wrist"] - paths["tossing_shoulder"])
    hips, _ = fast((paths["front_hip"] + paths["rear_hip"]) / 2.0)
    moving = np.stack(
        [paths[name] for name in ("tossing_wrist", "hitting_wrist", "front_hip", "rear_hip")]
    )
    slow = local_fit(time_s, moving, SLOW_HALF_WIDTH_S)[1]
    return Witness(
        time_s=time_s,
        hand=hand[:, -1],
        toss=toss[:, -1],
        hips=hips[:, -1],
        activity=np.max(norm(slow), axis=0),
        hand_speed=hand_speed,
    )
