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
Planes = tuple[Picture, Picture]
Array = npt.NDArray[np.float64]
Labels = npt.NDArray[np.int32]
Flags = npt.NDArray[np.bool_]

LONG_SIDE = 1280
"""Pictures are looked at with this longest side at most, pixels: a ball of a server who fills a
third of the height still has eight."""
LEAST_DIFFERENCE = 14
"""Grey levels; noise and compression of phone films stay below (working value: five films of real
and twenty of rendered serves)."""
WIDEST, LONGEST = 0.045, 0.35
"""Largest short and long axis of a candidate in picture heights: a ball is at most 3.6 % where the
server fills the picture; the streak of a struck ball at 1/60 s is twelve balls long."""
LEAST_AREA = 3
"""Pixels of the smallest candidate (working value: fewer are noise)."""
MOST_A_PICTURE = 40
"""Candidates kept of one picture, the most different ones (working value)."""


@dataclass(frozen=True, slots=True)
class Thing:
    """A candidate, in pixels of the picture as given; as in `Sightings`."""

    xy: tuple[float, float]
    half: tuple[float, float]
    width: float
    score: float


def reduced(rgb: Picture) -> tuple[Planes, float]:
    """Return a picture as two planes (H, W), small enough, and its pixels per given pixel.

    Luma, and yellow against blue: a ball before a bright sky differs in colour only.
    """
    height, width = rgb.shape[:2]
    scale = min(1.0, LONG_SIDE / max(height, width))
    if scale < 1.0:
        size = (max(1, round(width * scale)), max(1, round(height * scale)))
        rgb = np.asarray(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA), np.uint8)
    luma = np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY), np.uint8)
    red, green, blue = cv2.split(rgb)
    yellow = cv2.addWeighted(red, 0.5, green, 0.5, 0.0)
    colour = np.asarray(cv2.addWeighted(yellow, 0.7, blue, -0.7, 128.0), np.uint8)
    return (luma, colour), scale


def difference(first: Planes, second: Planes) -> Picture:
    """Return how much two reduced pictures differ, the larger of both planes, (H, W)."""
    apart = [cv2.absdiff(one, other) for one, other in zip(first, second, strict=True)]
    return np.asarray(cv2.max(apart[0], apart[1]), np.uint8)


def things(before: Picture, after: Picture, scale: float) -> list[Thing]:
    """Return the candidates of a picture from its differences to both neighbours.

    Parameters
    ----------
    before, after : ndarray of uint8, shape (H, W)
        `difference` to the picture before and to the one after.
    scale : float
        Their pixels per pixel of the film.
    """
    both = np.asarray(cv2.min(before, after), np.uint8)
    height = both.shape[0]
    _, mask = cv2.threshold(both, LEAST_DIFFERENCE - 1, 1, cv2.THRESH_BINARY)
    x, y, w, h = cv2.boundingRect(mask)
    if w == 0:
        return []
    left, top = max(x - 1, 0), max(y - 1, 0)  # room for what closing adds
    inner = np.s_[top : y + h + 1, left : x + w + 1]
    both, mask = np.ascontiguousarray(both[inner]), np.ascontiguousarray(mask[inner])
    mask = np.asarray(cv2.morphologyEx(mask, cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8)), np.uint8)
    _, labels, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=8)
    small = (stats[:, 4] >= LEAST_AREA) & (stats[:, 2:4].max(axis=1) <= LONGEST * height)
    small[0] = False  # the background
    found = _measured(both, np.asarray(labels, np.int32), small, (left, top), scale)
    near = [thing for thing in found if thing.width <= WIDEST * height / scale]
    return sorted(near, key=lambda thing: -thing.score)[:MOST_A_PICTURE]


def _measured(
    both: Picture, labels: Labels, wanted: Flags, corner: tuple[int, int], scale: float
) -> list[Thing]:
    """Return place and axes of the wanted blobs by their weighted moments; pixel centres at .5."""
    rows, columns = np.divmod(np.flatnonzero(labels), labels.shape[1])
    label = labels[rows, columns]
    kept = wanted[label]
    rows, columns = rows[kept], columns[kept]
    count = np.flatnonzero(wanted).size
    blob = (np.cumsum(wanted) - 1)[label[kept]]
    weight = both[rows, columns].astype(np.float64)

    def summed(values: Array) -> Array:
        return np.asarray(np.bincount(blob, values, minlength=count), np.float64)

    total = summed(weight)
    u, v = summed(weight * columns) / total, summed(weight * rows) / total
    du, dv = columns - u[blob], rows - v[blob]
    u, v = u + corner[0], v + corner[1]
    spread = np.empty((count, 2, 2))
    spread[:, 0, 0], spread[:, 1, 1] = summed(weight * du * du), summed(weight * dv * dv)
    spread[:, 0, 1] = spread[:, 1, 0] = summed(weight * du * dv)
    values, axes = np.linalg.eigh(spread / total[:, None, None] + np.eye(2) / 12.0)
    # a uniform bar of length L has variance L²/12, a disc of diameter d has d²/16
    long = np.sqrt(12.0 * values[:, 1])
    short = np.sqrt(np.where(values[:, 1] > 4.0 * values[:, 0], 12.0, 16.0) * values[:, 0])
    half = axes[:, :, 1] * long[:, None] / 2.0 / scale
    score = total / np.maximum(np.bincount(blob, minlength=count), 1)
    return [
        Thing(xy=(x, y), half=(hx, hy), width=w, score=s)
        for x, y, hx, hy, w, s in np.column_stack(
            [(u + 0.5) / scale, (v + 0.5) / scale, half, short / scale, score]
        ).tolist()
    ]
