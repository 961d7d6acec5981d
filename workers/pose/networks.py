"""The two pose networks as plain functions of a cut-out picture.

The session is injected: anything that maps an input array to outputs by name will do.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from models.contract.skeleton import KEYPOINTS, LANDMARKS
from workers.pose.frames import FloatArray, Picture
from workers.pose.heatmap import refine

Runner = Callable[[npt.NDArray[Any]], Mapping[str, npt.NDArray[Any]]]

SIDE = 256
"""Both networks look at 256 x 256 pixels."""

LANDMARK_COUNT = len(LANDMARKS)
"""Landmarks of the body that BlazePose gives; it has a few auxiliary points more."""

COCO_TO_LANDMARK: tuple[int, ...] = tuple(LANDMARKS.rows(KEYPOINTS))
"""Place among the 33 landmarks of each of the 17 COCO keypoints."""


@dataclass(frozen=True, slots=True)
class BlazePoseAnswer:
    """What BlazePose says about one crop.

    Attributes
    ----------
    xy : ndarray, shape (33, 2)
        Landmarks in crop pixels, refined by their heat maps.
    confidence : ndarray, shape (33,)
        The smaller of the probabilities of being visible and of being in the crop.
    world : ndarray, shape (33, 3)
        Metres, origin mid-hip, x to the right of the crop, y down, z away.
    circle : ndarray, shape (2, 2)
        Centre and rim point of the circle around the whole body, crop pixels.
    score : float
        Probability of a person in the crop.
    """

    xy: FloatArray
    confidence: FloatArray
    world: FloatArray
    circle: FloatArray
    score: float


def blazepose(run: Runner, cut: Picture) -> BlazePoseAnswer:
    """BlazePose on one crop, shape (256, 256, 3)."""
    out = run(np.divide(cut[None], np.float32(255.0), dtype=np.float32))
    marks = np.asarray(out["landmarks"], dtype=np.float64).reshape(39, 5)
    xy, _ = refine(marks[:LANDMARK_COUNT, :2], out["heatmaps"][0, :, :, :LANDMARK_COUNT], SIDE)
    seen = 1.0 / (1.0 + np.exp(-marks[:LANDMARK_COUNT, 3:5]))
    world = np.asarray(out["world"], dtype=np.float64).reshape(39, 3)[:LANDMARK_COUNT]
    return BlazePoseAnswer(
        xy=xy,
        confidence=seen.min(axis=1),
        world=world,
        circle=marks[LANDMARK_COUNT : LANDMARK_COUNT + 2, :2],
        score=float(np.squeeze(out["score"])),
    )


def movenet(run: Runner, cut: Picture) -> FloatArray:
    """MoveNet single-pose on one crop: shape (17, 3), x and y in crop pixels, score."""
    out = np.asarray(run(cut[None].astype(np.int32))["keypoints"], dtype=np.float64)[0, 0]
    return np.stack([out[:, 1] * SIDE, out[:, 0] * SIDE, out[:, 2]], axis=1)


def turn_world(world: FloatArray, angle: float) -> FloatArray:
    """World joints from the crop's axes into the picture's axes (x right, y down, z away).

    Parameters
    ----------
    world : ndarray, shape (..., 3)
        Along the crop's axes.
    angle : float
        The crop's angle, radians.
    """
    cos, sin = np.cos(angle), np.sin(angle)
    x, y = world[..., 0], world[..., 1]
    return np.stack([cos * x - sin * y, sin * x + cos * y, world[..., 2]], axis=-1)
