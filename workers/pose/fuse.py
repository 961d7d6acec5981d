"""Two networks' joints to one, and their disagreement as a measure of confidence.

Measured on 27 rendered serves and swings with exact truth (12 main joints, per cent of the
torso length): BlazePose heavy alone mean 5.5, RMS 10.0; MoveNet thunder alone 6.2, 9.2;
fused 5.0, 7.6. On 18 of them that had no part in choosing the constants, the confidence
sorted the errors like this (mean, RMS): 0.8 and above 4.1, 4.9; from 0.65 5.1, 6.1; from 0.5
6.0, 7.5; from 0.35 7.3, 10; from 0.2 8.8, 14; from 0.1 13, 20; below 22, 31. What is left
below are mostly arms hidden behind the body.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.contract.skeleton import LANDMARKS
from workers.pose.frames import FloatArray
from workers.pose.networks import COCO_TO_LANDMARK, LANDMARK_COUNT
from workers.pose.sides import between

HALF_TRUST = 0.2
"""Disagreement, in torso lengths, that halves the confidence."""

CONFLICT = 0.2
"""Disagreement, in torso lengths, from which the neighbouring frames decide."""

NEIGHBOURS_S = 0.12
"""How far in time the neighbours of a conflict may lie, seconds."""

SECOND_FAVOURED = 10.0
"""In a conflict without neighbours the second network counts so many times more: BlazePose
is sure of itself even when it is a body height off, MoveNet is not."""

_LEAST_WEIGHT = 0.05
"""Least weight of a network in a mean, so that two doubtful ones still give a place (working
value)."""

FOLLOWS = {
    end: root
    for part, at in (
        ("pinky", "wrist"),
        ("index", "wrist"),
        ("thumb", "wrist"),
        ("heel", "ankle"),
        ("foot_index", "ankle"),
    )
    for end, root in zip(LANDMARKS.pair(part), LANDMARKS.pair(at), strict=True)
}
"""Hand and foot landmarks that only one network gives, and the wrist or ankle they hang on."""


@dataclass(frozen=True, slots=True)
class Fused:
    """Result of `fuse`.

    Attributes
    ----------
    xy : ndarray, shape (T, 33, 2)
        Pixels; NaN where nobody was seen.
    confidence : ndarray, shape (T, 33)
        0..1; 0 where nobody was seen or the landmark lies outside the picture.
    disagreement_px : ndarray, shape (T, 33)
        Distance of the two answers; NaN where only one network gives the landmark.
    """

    xy: FloatArray
    confidence: FloatArray
    disagreement_px: FloatArray


def torso_length(xy: FloatArray) -> float:
    """Median distance from mid-hip to mid-shoulder over all frames, pixels."""
    axis = LANDMARKS.middle(xy, "shoulder") - LANDMARKS.middle(xy, "hip")
    length = np.hypot(axis[:, 0], axis[:, 1])
    return float(np.nanmedian(length)) if np.isfinite(length).any() else float("nan")


def fuse(
    time_s: FloatArray, blaze: FloatArray, second: FloatArray | None, width: int, height: int
) -> Fused:
    """Join the answers of both networks over a whole clip.

    Parameters
    ----------
    time_s : ndarray, shape (T,)
        Seconds.
    blaze : ndarray, shape (T, 33, 3)
        u, v, confidence of BlazePose, sides put right; NaN rows where nobody was seen.
    second : ndarray, shape (T, 33, 3), or None
        The same of the second network; NaN for landmarks it lacks.
    width, height : int
        Size of the picture, pixels.
    """
    xy = blaze[..., :2].copy()
    confidence = np.nan_to_num(blaze[..., 2])
    disagreement = np.full(blaze.shape[:2], np.nan)
    if second is not None:
        torso = torso_length(xy)
        both = list(COCO_TO_LANDMARK)
        a, b = blaze[:, both], second[:, both]
        # Outside the picture MoveNet clings to the border; only BlazePose extrapolates.
        outside = ~_inside(a[..., :2], width, height)
        b[outside] = np.nan
        gap = np.hypot(*np.moveaxis(a[..., :2] - b[..., :2], -1, 0))
        disagreement[:, both] = gap
        weight = np.clip(np.stack([a[..., 2], b[..., 2]]), _LEAST_WEIGHT, 1.0)
        weight = _settle(time_s, a, b, weight, gap / torso)
        share = (weight[0] / weight.sum(axis=0))[..., None]
        mean = share * a[..., :2] + (1 - share) * b[..., :2]
        xy[:, both] = np.where(outside[..., None], a[..., :2], mean)
        agreement = 1.0 / (1.0 + (gap / (HALF_TRUST * torso)) ** 2)
        confidence[:, both] = np.nan_to_num(np.sqrt(a[..., 2] * b[..., 2]) * agreement)
        spread = np.ones((len(xy), LANDMARK_COUNT))
        spread[:, both] = np.nan_to_num(agreement)
        for part, root in FOLLOWS.items():
            xy[:, part] += xy[:, root] - blaze[:, root, :2]
            confidence[:, part] *= spread[:, root]
    inside = _inside(xy, width, height)
    return Fused(xy, np.where(inside, confidence, 0.0), disagreement)


def _inside(xy: FloatArray, width: int, height: int) -> np.ndarray:
    """Which points lie in the picture; shape (...,) of xy, shape (..., 2)."""
    return np.asarray((xy >= 0).all(axis=-1) & (xy <= np.array([width, height])).all(axis=-1))


def _settle(
    time_s: FloatArray, a: FloatArray, b: FloatArray, weight: FloatArray, gap: FloatArray
) -> FloatArray:
    """Where both differ widely, weigh each by its nearness to the undisputed neighbours."""
    out = weight.copy()
    mean = (a[..., :2] + b[..., :2]) / 2
    for k in range(a.shape[1]):
        agreed = np.flatnonzero(gap[:, k] < CONFLICT / 2)
        for i in np.flatnonzero(gap[:, k] >= CONFLICT):
            expected = between(time_s, agreed, mean[:, k], int(i), NEIGHBOURS_S)
            if expected is None:
                out[1, i, k] *= SECOND_FAVOURED
                continue
            off_a, off_b = (np.hypot(*(points[i, k, :2] - expected)) for points in (a, b))
            out[:, i, k] = 1.0 / (off_a**2 + 1.0), 1.0 / (off_b**2 + 1.0)
    return out
