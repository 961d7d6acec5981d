"""Small things that are in one picture and in neither of its neighbours: a ball in flight, mostly.

A picture is compared with the one before and the one after; what differs from both is there now
and was elsewhere. A ball that moves less than its own width between pictures is seen in part. Of
hands, racket and people in the background there are pieces as well: a ball is told from them by
its path, which is not asked here.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

Picture = npt.NDArray[np.uint8]
Array = npt.NDArray[np.float64]

LONG_SIDE = 1280
"""Pictures are looked at with this longest side at most, pixels: a ball of a server who fills a
third of the height still has eight."""
LEAST_DIFFERENCE = 14
"""Grey levels; noise and compression of phone films stay below (working value: five films of real
and twenty of rendered serves)."""
WIDEST, LONGEST = 0.045, 0.35
"""Largest short and long axis of a candidate in picture heights: a ball is at most 3.6 % where the
server fills the picture; the streak of a struck ball at 1/60 s is twelve balls long."""
MOST_A_PICTURE = 40
"""Candidates kept of one picture, the most different ones (working value)."""
_TWO = np.array([[0.299, 0.587, 0.114, 0.0], [0.35, 0.35, -0.70, 128.0]], np.float32)
"""Luma, and yellow against blue: a ball before a bright sky differs in colour only."""


@dataclass(frozen=True, slots=True)
class Thing:
    """A candidate, in pixels of the picture as given; as in `Sightings`."""

    xy: tuple[float, float]
    half: tuple[float, float]
    width: float
    score: float


def reduced(rgb: Picture) -> tuple[Picture, float]:
    """Return a picture of two channels, small enough, and its pixels per given pixel."""
    height, width = rgb.shape[:2]
    scale = min(1.0, LONG_SIDE / max(height, width))
    if scale < 1.0:
        size = (max(1, round(width * scale)), max(1, round(height * scale)))
        rgb = np.asarray(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA), np.uint8)
    return np.asarray(cv2.transform(rgb, _TWO), np.uint8), scale


def difference(first: Picture, second: Picture) -> Picture:
    """Return how much two reduced pictures differ, the larger of both channels, (H, W)."""
    apart = cv2.absdiff(first, second)
    return np.asarray(cv2.max(apart[..., 0], apart[..., 1]), np.uint8)


def things(before: Picture, after: Picture, scale: float) -> list[Thing]:
    """Return the candidates of a picture from its differences to both neighbours.

    Parameters
    ----------
    before, after : ndarray of uint8, shape (H, W)
        `difference` to the picture before and to the one after.
    scale : float
        Their pixels per pixel of the film.
    """
    both = cv2.min(before, after)
    height = both.shape[0]
    mask = np.asarray(both >= LEAST_DIFFERENCE, np.uint8)
    mask = np.asarray(cv2.morphologyEx(mask, cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8)), np.uint8)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=8)
    found: list[Thing] = []
    for label in range(1, count):
        x, y, w, h, area = (int(value) for value in stats[label])
        if area < 3 or max(w, h) > LONGEST * height:
            continue
        part = labels[y : y + h, x : x + w] == label
        weight = np.where(part, both[y : y + h, x : x + w], 0).astype(np.float64)
        thing = _measured(weight, x, y, int(area), scale)
        if thing.width <= WIDEST * height / scale:
            found.append(thing)
    return sorted(found, key=lambda thing: -thing.score)[:MOST_A_PICTURE]


def _measured(weight: Array, x: int, y: int, area: int, scale: float) -> Thing:
    """Return place and axes of a blob by its weighted moments; pixel centres at .5."""
    total = float(weight.sum())
    rows, columns = np.indices(weight.shape)
    u = float((weight * columns).sum()) / total
    v = float((weight * rows).sum()) / total
    du, dv = columns - u, rows - v
    spread = np.array(
        [
            [float((weight * du * du).sum()), float((weight * du * dv).sum())],
            [float((weight * du * dv).sum()), float((weight * dv * dv).sum())],
        ]
    )
    values, axes = np.linalg.eigh(spread / total + np.eye(2) / 12.0)
    # a uniform bar of length L has variance L²/12, a disc of diameter d has d²/16
    long = float(np.sqrt(12.0 * values[1]))
    short = float(np.sqrt((12.0 if values[1] > 4.0 * values[0] else 16.0) * values[0]))
    half = axes[:, 1] * long / 2.0
    return Thing(
        xy=((x + u + 0.5) / scale, (y + v + 0.5) / scale),
        half=(float(half[0]) / scale, float(half[1]) / scale),
        width=short / scale,
        score=total / max(area, 1),
    )
