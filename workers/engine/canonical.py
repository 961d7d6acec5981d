"""Bring joints measured elsewhere into the canonical court frame.

Needed: metres, z up. The target direction, the hitting hand and the origin are taken from the
caller or found in the motion.
"""

from __future__ import annotations

import numpy as np

from models.contract.skeleton import ANATOMICAL_BODY, CANONICAL_BODY, canonical
from models.contract.tracks import BodyMotion, FloatArray
from models.contract.vocabulary import Handedness
from workers.engine.detect import FoundWork, find_work, handedness_of
from workers.engine.joint_checks import wavering
from workers.engine.signals import from_joints

SWING_OFFSET_DEG = 10.0
"""The hitting wrist crosses the target line from right to left by about this angle while it is
highest (rendered serves: 8 to 13 deg)."""
CAPTURE_SD_M = 0.005
"""Standard deviation of each coordinate of joints from elsewhere, metres: a few millimetres, as of
marker-based capture (working value)."""
SWING_HALF_S = 0.08
"""Half of the time over which the direction of the swing is taken, seconds (working value)."""
TOP_SHARE = 0.93
"""Height of the ears over standing height (de Leva 1996: vertex to mid-gonion, and the rendered
bodies); used where nobody states the height."""


def to_court(
    time_s: FloatArray,
    joints: FloatArray,
    *,
    handedness: Handedness,
    target_xy: tuple[float, float] | None = None,
    stature_m: float | None = None,
    accuracy_m: float | None = None,
) -> BodyMotion:
    """Return a body motion in the canonical court frame.

    Parameters
    ----------
    time_s : ndarray, shape (T,)
    joints : ndarray, shape (T, 21, 3)
        Order of ``ANATOMICAL_BODY``, metres, z up; NaN = not measured.
    handedness : Handedness
        ``UNKNOWN`` = found from the swings; right if there is none.
    target_xy : (x, y) or None
        Horizontal direction of the target. None = found from the swings: the direction in which
        the hitting wrist and the pelvis move.
    stature_m : float or None
        None = from the height of the ears in the first frames.
    accuracy_m : float or None
        Standard deviation of each coordinate, as whoever measured the joints states it. None = a
        few millimetres, or more where the lengths of segments waver by more.

    Raises
    ------
    ValueError
        If shapes do not fit or nothing but NaN is given.
    """
    if joints.shape != (len(time_s), len(ANATOMICAL_BODY), 3):
        raise ValueError(f"joints must have shape (T, {len(ANATOMICAL_BODY)}, 3)")
    if not np.isfinite(joints).any():
        raise ValueError("no joint is known in any frame")
    stature = stature_m if stature_m is not None else _stature(joints)
    time = np.asarray(time_s, dtype=np.float64)
    signals = from_joints(time, joints, ANATOMICAL_BODY)
    work = [] if signals is None else find_work(signals, handedness)
    hand = handedness if handedness is not Handedness.UNKNOWN else handedness_of(work)
    mirrored = hand is Handedness.LEFT
    joints = canonical(joints, left_handed=mirrored, axis=1)
    if target_xy is not None:
        sign = -1.0 if mirrored else 1.0
        heading = float(np.arctan2(sign * target_xy[1], target_xy[0]))
    else:
        heading = _heading(time, joints, work)
    c, s = np.cos(heading), np.sin(heading)
    court = joints @ np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
    start = work[0].start if work else 0
    return BodyMotion(
        time_s=time,
        frame_index=np.arange(len(time_s)),
        joints=court - _origin(court, start),
        sd=np.full(court.shape, accuracy_m or max(CAPTURE_SD_M, wavering(joints, CANONICAL_BODY))),
        mirrored=mirrored,
        stature_m=stature,
        method="joints_in",
    )


def _stature(joints: FloatArray) -> float:
    first = joints[: max(3, len(joints) // 10)]
    ears = np.nanmedian(first[:, ANATOMICAL_BODY.pair("ear"), 2])
    feet = np.nanmedian(np.nanmin(first[..., 2], axis=1))
    height = float((ears - feet) / TOP_SHARE)
    if not np.isfinite(height) or height <= 0.3:
        raise ValueError("standing height cannot be read from these joints; state it")
    return height


def _origin(court: FloatArray, start: int) -> FloatArray:
    ankles = court[start : start + 3, CANONICAL_BODY.pair("ankle")]
    return np.asarray(np.nanmean(ankles, axis=(0, 1)))


def _heading(time_s: FloatArray, joints: FloatArray, work: list[FoundWork]) -> float:
    """Return the direction of the target, rad: swing of the wrist and travel of the pelvis."""
    total = np.zeros(2)
    wrist = CANONICAL_BODY.at(joints, "hitting_wrist")
    hips = CANONICAL_BODY.middle(joints, "hip")
    offset = np.radians(SWING_OFFSET_DEG)
    turn = np.array([[np.cos(offset), -np.sin(offset)], [np.sin(offset), np.cos(offset)]])
    for candidate in work:
        t = candidate.contact_s

        def at(path: FloatArray, when: float) -> FloatArray:
            return np.array([np.interp(when, time_s, path[:, axis]) for axis in (0, 1)])

        swing = turn @ (at(wrist, t + SWING_HALF_S) - at(wrist, t - SWING_HALF_S))
        travel = at(hips, t + 0.3) - at(hips, t - 0.45)
        for direction in (swing, travel):
            length = float(np.hypot(*direction))
            if length > 1e-3:
                total += direction / length
    if not total.any():
        return 0.0
    return float(np.arctan2(total[1], total[0]))
