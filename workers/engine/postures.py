"""Whether a body can be one: postures and lengths that no serving person has.

A network that mistakes joints for others, a picture that is turned, or joints in other axes or
units give numbers as smooth as any. What gives them away is the body: nobody serves lying down,
with the head under the feet, or with a forearm as long as the trunk.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.contract.note import Note, note
from models.contract.note_codes import NoteCode
from models.contract.skeleton import CANONICAL_BODY
from models.contract.tracks import BodyMotion, FloatArray
from workers.engine.geometry import norm
from workers.engine.proportions import Proportions

LEANS_DEG = 70.0
"""Median lean of the trunk over a repetition from which nobody serves, degrees (working value).
At contact world-class players lean 42 (Sports Biomech 2003, 2(1):51-64), and for an instant."""
HEAD_LOW_SHARE = 0.25
"""Share of a repetition with the head under the higher ankle that no serve has (working value)."""
SHORTEST, LONGEST = 0.6, 1.5
"""Least and greatest length of a segment over that of an average body of the same standing
height. People differ by less than a fifth (J Biomech 1996, 29(9):1223-1230, tables of both
sexes); the rest is for other definitions of joint centres (working values)."""
TWO_WAYS_DEG, TWO_WAYS_SHARE = 75.0, 0.08
"""Between the directions in which two readings of one film have the hips or the shoulders face, and
in what share of a repetition, from which neither is believed (154 rendered serves by four ways of
moving: six such films, in which one reading or both erred by 86 degrees and more; in a swing one
may run ahead of the other for an instant)."""
_SEGMENTS = {
    "upper_arm": ("shoulder", "elbow"),
    "forearm": ("elbow", "wrist"),
    "thigh": ("hip", "knee"),
    "shank": ("knee", "ankle"),
}


@dataclass(frozen=True, slots=True)
class Lengths:
    """Median lengths of a body over a stretch, as shares of those of an average body."""

    shares: dict[str, float]

    @property
    def wrong(self) -> str | None:
        """The length that is farthest out of the human range, or None."""
        out = {
            name: abs(float(np.log(share)))
            for name, share in self.shares.items()
            if np.isfinite(share) and not SHORTEST <= share <= LONGEST
        }
        return max(out, key=lambda name: out[name]) if out else None


def lengths_of(joints: FloatArray, stature_m: float) -> Lengths:
    """Return the lengths of a body (T, 21, 3), metres; the longer of the two sides counts least.

    A segment's sides are averaged; missing joints are left out.
    """
    usual = Proportions.population()
    shares: dict[str, float] = {}
    for name, (upper, lower) in _SEGMENTS.items():
        sides = [
            np.nanmedian(norm(joints[:, a] - joints[:, b]))
            for a, b in zip(CANONICAL_BODY.pair(upper), CANONICAL_BODY.pair(lower), strict=True)
            if np.isfinite(joints[:, [a, b]]).all(axis=(1, 2)).any()
        ]
        if sides:
            shares[name] = float(np.mean(sides)) / (usual[name] * stature_m)
    trunk = CANONICAL_BODY.middle(joints, "shoulder") - CANONICAL_BODY.middle(joints, "hip")
    if np.isfinite(trunk).all(axis=1).any():
        shares["trunk"] = float(np.nanmedian(norm(trunk))) / (usual["trunk"] * stature_m)
    return Lengths(shares)


def faces_two_ways(one: BodyMotion, other: BodyMotion) -> Note | None:
    """Return that two readings of one repetition do not agree which way its body faces, or None.

    Parameters
    ----------
    one, other : BodyMotion
        Of the same person in the same frame of reference; instants that both have are compared.
    """
    _, mine, theirs = np.intersect1d(one.time_s, other.time_s, return_indices=True)
    for part in ("hip", "shoulder"):
        first, second = (
            motion.joints[rows][:, list(CANONICAL_BODY.pair(part)), :2]
            for motion, rows in ((one, mine), (other, theirs))
        )
        lines = [joints[:, 0] - joints[:, 1] for joints in (first, second)]
        along = np.sum(lines[0] * lines[1], axis=1)
        apart = np.degrees(np.arccos(np.clip(along / (norm(lines[0]) * norm(lines[1])), -1, 1)))
        if apart.size and float(np.mean(apart > TWO_WAYS_DEG)) > TWO_WAYS_SHARE:
            return note(NoteCode.POSTURE_TWO_WAYS)
    return None


def impossible(motion: BodyMotion) -> Note | None:
    """Return why a repetition cannot be a person's, or None where it can.

    Parameters
    ----------
    motion : BodyMotion
        Canonical body, court frame, z up.
    """
    joints = motion.joints
    ankles = joints[:, CANONICAL_BODY.pair("ankle"), 2].max(axis=1)
    head = joints[:, CANONICAL_BODY.index("nose"), 2]
    if float(np.mean(head < ankles)) > HEAD_LOW_SHARE:
        return note(NoteCode.POSTURE_HEAD_LOW)
    trunk = CANONICAL_BODY.middle(joints, "shoulder") - CANONICAL_BODY.middle(joints, "hip")
    known = trunk[np.isfinite(trunk).all(axis=1)]
    if len(known):
        lean = np.degrees(np.arctan2(norm(known[:, :2]), known[:, 2]))
        if float(np.median(lean)) > LEANS_DEG:
            return note(NoteCode.POSTURE_LEANS)
    part = lengths_of(joints, motion.stature_m).wrong
    return None if part is None else note(NoteCode.POSTURE_LENGTHS, part=part)
