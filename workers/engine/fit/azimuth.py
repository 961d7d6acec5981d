"""Where the target is, seen from the camera: from the stance, the way the body travels, the swing.

No line of the court is needed. Each cue says where the target would be for a usual serve; their
weighted mean gives the heading. Usual values (degrees, canonical right-hander, from the target
line, positive to the left) are between the rendered serves of two independent generators: a
slightly closed stance, a body that lands in the court, a chest that faces the net at the finish
(common practice, no published mean). How far the body is turned at set-up is a matter of style:
shoulders 13 degrees on rendered serves, 36-51 on recorded ones, so that this cue is between them
and weak. Their spread is the honest limit of a target that is not given.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.contract.tracks import FloatArray, IntArray
from workers.engine.fit.skeleton import POINTS, point


@dataclass(frozen=True, slots=True)
class Cue:
    """A usual heading of some vector of the body and how much servers differ in it, degrees."""

    usual: float
    spread: float
    noise_m: float
    """Standard deviation of the vector across itself, metres: short vectors say little."""


CUES: dict[str, Cue] = {
    "stance": Cue(-8.5, 8.0, 0.07),
    "travel": Cue(-7.0, 8.0, 0.06),
    "drive": Cue(1.0, 8.0, 0.05),
    "pelvis_at_set_up": Cue(15.0, 16.0, 0.03),
    "shoulders_at_set_up": Cue(28.0, 20.0, 0.06),
    "pelvis_at_finish": Cue(93.0, 9.0, 0.04),
    "wrist_at_contact": Cue(-7.0, 12.0, 0.10),
}

SHARED_SD = 3.5
"""What the cues have in common (one body, one camera), degrees."""

COMMON = 0.5
"""Correlation of the errors of two headings that were read from one body (working value)."""

GIVEN_SD = 3.0
"""Standard deviation of an azimuth that the caller states, degrees (working value)."""


def contact_index(points: FloatArray) -> int:
    """Return the instant of the highest hitting wrist, a stand-in for contact."""
    return int(np.argmax(points[:, point("hitting_wrist"), 2]))


def target_heading(
    time_s: FloatArray, points: FloatArray, planted: FloatArray
) -> tuple[float, float]:
    """Estimate where the target lies in the levelled frame.

    Parameters
    ----------
    time_s : ndarray, shape (T,)
    points : ndarray, shape (T, 17, 3)
        Levelled frame, canonical right-hander, metres.
    planted : ndarray, shape (T, 2)
        How surely each toe stands on the court.

    Returns
    -------
    heading, sd : float
        Radians counter-clockwise from the x axis.
    """
    vectors = _vectors(time_s, points, planted)
    headings, weights = [], []
    for name, vector in vectors.items():
        cue = CUES[name]
        length = float(np.hypot(vector[0], vector[1]))
        if length < cue.noise_m:
            continue
        headings.append(np.arctan2(vector[1], vector[0]) - np.radians(cue.usual))
        spread = np.hypot(np.radians(cue.spread), cue.noise_m / length)
        weights.append(1.0 / spread**2)
    if not headings:
        return 0.0, float(np.radians(60.0))
    angle, weight = np.array(headings), np.array(weights)
    mean = _circular_mean(angle, weight)
    for _ in range(5):
        off = (angle - mean + np.pi) % (2 * np.pi) - np.pi
        robust = weight / (1.0 + off**2 * weight / 4.0)
        mean = _circular_mean(angle, robust)
    off = (angle - mean + np.pi) % (2 * np.pi) - np.pi
    # Disagreement beyond the stated spreads widens the answer.
    excess = max(1.0, float(np.sum(weight * off**2)) / len(angle))
    sd = np.sqrt(excess / np.sum(robust) + np.radians(SHARED_SD) ** 2)
    return mean, float(sd)


def joined(one: tuple[float, float], two: tuple[float, float]) -> tuple[float, float]:
    """Return the weighted mean of two headings with their sds, radians.

    Both look at the same body, so half of the errors are taken to be common (working value).
    """
    angles, sds = np.array([one[0], two[0]]), np.array([one[1], two[1]])
    share = sds**-2 / np.sum(sds**-2)
    parts = share * sds
    variance = np.sum(parts**2) + 2.0 * COMMON * parts[0] * parts[1]
    return _circular_mean(angles, share), float(np.sqrt(variance))


def _circular_mean(angle: FloatArray, weight: FloatArray) -> float:
    return float(np.arctan2(np.sum(weight * np.sin(angle)), np.sum(weight * np.cos(angle))))


def _vectors(time_s: FloatArray, points: FloatArray, planted: FloatArray) -> dict[str, FloatArray]:
    contact = contact_index(points)
    hips = POINTS.middle(points, "hip")

    def between(part: str, rows: IntArray) -> FloatArray:
        front, rear = POINTS.pair(part)
        line = points[:, front] - points[:, rear]
        return np.asarray(np.median(line[rows], axis=0))

    def at(seconds: float) -> int:
        return int(np.argmin(np.abs(time_s - (time_s[contact] + seconds))))

    early = np.flatnonzero(time_s <= min(time_s[0] + 0.6, time_s[contact] - 0.6))
    if not early.size:
        early = np.arange(max(1, len(time_s) // 10))
    standing = np.flatnonzero((planted.min(axis=1) > 0.5) & (time_s < time_s[contact]))
    out = {
        "stance": between("ankle", standing if standing.size > 3 else early),
        "pelvis_at_set_up": between("hip", early),
        "shoulders_at_set_up": between("shoulder", early),
        "drive": hips[contact] - hips[at(-0.45)],
        "wrist_at_contact": (
            points[at(0.05), point("hitting_wrist")] - points[at(-0.05), point("hitting_wrist")]
        ),
    }
    if time_s[-1] - time_s[contact] > 0.3:
        finish = np.arange(at(0.3), at(0.5) + 1)
        out["pelvis_at_finish"] = between("hip", finish)
        out["travel"] = np.median(hips[finish], axis=0) - np.median(hips[early], axis=0)
    return out
