"""What is wrong with joints from elsewhere: unit, axes, sides, lines that move as one, the clock.

Files of other systems are as smooth with a wrong axis as with the right one. What gives them away
is the body: its size, which way is up, which way knees and toes point, that pelvis and shoulders
turn against each other, and that no hand is faster than hands are.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from models.contract.note_codes import NoteCode, Saying, say
from models.contract.skeleton import CANONICAL_BODY, Skeleton
from models.contract.tracks import BodyMotion, FloatArray
from workers.engine.geometry import norm
from workers.engine.smoothing import local_fit

BODY_M = (0.6, 1.9)
"""Trunk, thigh and shank together, metres: 0.77 of standing height (J Biomech 1996,
29(9):1223-1230), from a child of 0.9 m to more than the tallest player, with room for other
definitions of joint centres."""
UNITS = {"mm": 1000.0, "cm": 100.0, "in": 1.0 / 0.0254}
UP_SHARE = 0.7
"""Share of the way from ankles to shoulders that is up in a standing person, in the median over the
file (working value: a lean of 45 deg)."""
FORWARD_SHARE = 0.3
"""Of the sine between the hip line and where feet and knees point, from which sides are told
(working value)."""
LOCKED_DEG, TURNED_DEG = 1.5, 15.0
"""Pelvis and shoulders that turn by so much and differ by so little are one line drawn twice
(working values: over true bodies of 7 rendered serves the difference varies by 9 deg and more)."""
FASTEST_HAND = 18.0
"""m/s: no wrist moves faster in a serve. Centres of racket heads reach 31 m/s (J Appl Biomech 1995,
11(4):433-442) at more than twice a wrist's distance from what turns them; room for noise (working
value)."""
HAND_HALF_WIDTH_S = 0.025
"""Half window of a hand's velocity, seconds."""
LEAST_FRAMES = 8
"""Fewest frames that say how lines move."""
_AXES = ("x", "y", "z")
_LIMBS = (("shoulder", "elbow"), ("elbow", "wrist"), ("hip", "knee"), ("knee", "ankle"))
LOCKED_METRICS = frozenset(
    {
        "hip_shoulder_separation",
        "hip_shoulder_separation_peak",
        "pelvis_turn",
        "pelvis_turn_peak",
        "pelvis_turn_absolute",
        "turn_to_bend_ratio",
    }
)
"""What is not given where pelvis and shoulders are one line: hips are what is mostly derived."""


def frame_fault(joints: FloatArray, skeleton: Skeleton) -> Saying | None:
    """Return what is wrong with unit, axes or sides, or None.

    Parameters
    ----------
    joints : ndarray, shape (T, 21, 3)
        Should be metres, z up, in the order of ``skeleton``; NaN = not measured.
    skeleton : Skeleton
        By sides, or by role of a right-hander.
    """
    unit = _unit_fault(joints, skeleton)
    if unit is not None:
        return unit
    shoulders, ankles = (skeleton.middle(joints, part) for part in ("shoulder", "ankle"))
    upward = _median(shoulders - ankles)
    if not np.isfinite(upward).all() or not np.any(upward):
        return None
    share = upward / float(np.linalg.norm(upward))
    axis = int(np.argmax(np.abs(share)))
    if abs(share[axis]) >= UP_SHARE and (axis != 2 or share[axis] < 0):
        sign = "+" if share[axis] > 0 else "-"
        return say(NoteCode.JOINTS_AXES, axis=sign + _AXES[axis])
    return say(NoteCode.JOINTS_SIDES) if _sides_wrong(joints, skeleton) else None


def _unit_fault(joints: FloatArray, skeleton: Skeleton) -> Saying | None:
    chain = ("shoulder", "hip", "knee", "ankle")
    points = [skeleton.middle(joints, part) for part in chain[:2]]
    lengths = [norm(points[0] - points[1])]
    for upper, lower in pairwise(chain[1:]):
        sides = zip(skeleton.pair(upper), skeleton.pair(lower), strict=True)
        lengths.append(np.mean([norm(joints[:, a] - joints[:, b]) for a, b in sides], axis=0))
    long = float(sum(_median(length[:, None])[0] for length in lengths))
    if not np.isfinite(long) or BODY_M[0] <= long <= BODY_M[1]:
        return None
    for unit, factor in UNITS.items():
        if BODY_M[0] <= long / factor <= BODY_M[1]:
            return say(NoteCode.JOINTS_UNIT, unit=unit)
    return say(NoteCode.JOINTS_SIZE, metres=long)


def _sides_wrong(joints: FloatArray, skeleton: Skeleton) -> bool:
    """Return whether left and right are exchanged, or one axis points the other way.

    Feet point forward, and so does a knee before the line from hip to ankle; the left hip is to
    the left of that.
    """
    left, right = skeleton.pair("hip")
    across = (joints[:, left] - joints[:, right])[:, :2]
    ahead = np.zeros_like(across)
    for side in (0, 1):
        heel, toe, hip, knee, ankle = (
            joints[:, skeleton.pair(part)[side], :2]
            for part in ("heel", "toe", "hip", "knee", "ankle")
        )
        ahead += np.nan_to_num(toe - heel) + np.nan_to_num(knee - (hip + ankle) / 2.0)
    # to the left of forward, z up: (-y, x)
    sine = (ahead[:, 0] * across[:, 1] - ahead[:, 1] * across[:, 0]) / np.maximum(
        norm(ahead) * norm(across), 1e-9
    )
    known = sine[np.isfinite(sine)]
    return bool(known.size) and float(np.median(known)) < -FORWARD_SHARE


def lines_locked(joints: FloatArray, skeleton: Skeleton) -> bool:
    """Return whether pelvis and shoulders never turn against each other while the body turns.

    Skeletons whose hips were interpolated, or which know one line of the trunk only, give a
    separation of zero that nobody measured.
    """
    turns = []
    for part in ("hip", "shoulder"):
        left, right = skeleton.pair(part)
        line = joints[:, left] - joints[:, right]
        turns.append(np.unwrap(np.arctan2(line[:, 0], line[:, 1])))
    pelvis, shoulders = turns
    known = np.isfinite(pelvis) & np.isfinite(shoulders)
    if known.sum() < LEAST_FRAMES:
        return False
    apart = np.degrees(np.std((shoulders - pelvis)[known]))
    turned = np.degrees(np.ptp(pelvis[known]))
    return bool(apart < LOCKED_DEG and turned > TURNED_DEG)


def wavering(joints: FloatArray, skeleton: Skeleton) -> float:
    """Return how far the lengths of limbs waver, as the error of one coordinate, metres.

    Bones keep their length: each end of one that wavers by a standard deviation has 0.71 of it.
    """
    spreads = [
        float(np.nanstd(norm(joints[:, a] - joints[:, b])))
        for upper, lower in _LIMBS
        for a, b in zip(skeleton.pair(upper), skeleton.pair(lower), strict=True)
        if np.isfinite(joints[:, [a, b]]).all(axis=(1, 2)).sum() >= LEAST_FRAMES
    ]
    return float(np.median(spreads)) / np.sqrt(2.0) if spreads else 0.0


def lacking(joints: FloatArray, skeleton: Skeleton) -> bool:
    """Return whether heels or toes are never there."""
    rows = [row for part in ("heel", "toe") for row in skeleton.pair(part)]
    return not bool(np.isfinite(joints[:, rows]).all(axis=2).any(axis=0).all())


def too_fast(motion: BodyMotion) -> Saying | None:
    """Return that a hand is faster than any, so that the file's times are too short; else None.

    Half of a tenth of a second is looked at, so that one point out of place says nothing. Times
    that are too long look like slow practice and cannot be told so.
    """
    hands = motion.joints[:, CANONICAL_BODY.pair("wrist")]
    speed = norm(local_fit(motion.time_s, hands.transpose(1, 0, 2), HAND_HALF_WIDTH_S)[1])
    known = speed[np.isfinite(speed)]
    fastest = float(np.max(known)) if known.size else 0.0
    if fastest <= FASTEST_HAND:
        return None
    return say(NoteCode.JOINTS_CLOCK, speed=fastest, most=FASTEST_HAND)


def _median(vectors: FloatArray) -> FloatArray:
    known = vectors[np.isfinite(vectors).all(axis=1)]
    return np.median(known, axis=0) if len(known) else np.full(vectors.shape[1], np.nan)
