"""The part of the frame that a picture shows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt
from PIL import Image, ImageOps

from workers.report.canvas import Picture
from workers.report.figure import Figure

TALL = 1.35
"""Height over width that a crop aims at."""

REACH = 0.32
"""Room for the racket beyond the wrist, in heights of the tallest figure: a racket is at most
73.7 cm long (ITF Rules of Tennis, rule 4), a figure with a raised arm a little over 2 m tall."""


OUTSIDE = (58, 62, 72)
"""Shown where a crop reaches past the frame."""


@dataclass(frozen=True, slots=True)
class Crop:
    """A rectangle of the frame, pixels, and the scale at which it is shown.

    It may reach past the frame. ``mirrored`` swaps left and right in what is shown.
    """

    left: float
    top: float
    width: float
    height: float
    scale: float
    mirrored: bool = False

    @property
    def size(self) -> tuple[int, int]:
        """Width and height as shown, pixels."""
        return round(self.width * self.scale), round(self.height * self.scale)

    def place(self, point: npt.ArrayLike) -> npt.NDArray[np.floating[Any]]:
        """Map pixels of the frame to pixels as shown, shape (..., 2)."""
        shown = (np.asarray(point, dtype=np.float64) - [self.left, self.top]) * self.scale
        if self.mirrored:
            shown[..., 0] = self.size[0] - shown[..., 0]
        return np.asarray(shown)

    def even(self) -> Crop:
        """Return the crop with an even width and height as shown, as films need them."""
        shown = tuple(side // 2 * 2 for side in self.size)
        width, height = shown[0] / self.scale, shown[1] / self.scale
        return replace(self, width=width, height=height)

    def cut(self, frame: Picture) -> Image.Image:
        """Return the part of an RGB frame, at the scale shown."""
        height, width = frame.shape[:2]
        right, bottom = self.left + self.width, self.top + self.height
        inside = (
            max(self.left, 0.0),
            max(self.top, 0.0),
            min(right, float(width)),
            min(bottom, float(height)),
        )
        shown = Image.new("RGB", self.size, OUTSIDE)
        if inside[2] > inside[0] and inside[3] > inside[1]:
            x0, y0 = (
                round((inside[i] - o) * self.scale) for i, o in ((0, self.left), (1, self.top))
            )
            size = (
                max(1, round((inside[2] - self.left) * self.scale) - x0),
                max(1, round((inside[3] - self.top) * self.scale) - y0),
            )
            part = Image.fromarray(frame).resize(size, Image.Resampling.LANCZOS, box=inside)
            shown.paste(part, (x0, y0))
        return ImageOps.mirror(shown) if self.mirrored else shown


def around(
    figures: Sequence[Figure],
    frame_width: int,
    frame_height: int,
    *,
    shown_width: int = 1080,
    shown_height: int = 1458,
    also: npt.NDArray[np.float64] | None = None,
) -> Crop:
    """Return one crop that holds all the figures, racket and feet included.

    ``also``: further points that it holds, pixels of the frame, shape (N, 2).
    """
    clouds = [figure.extent() for figure in figures]
    points = np.vstack([*clouds, np.empty((0, 2))])
    if len(points) == 0:
        low, high = np.zeros(2), np.array([frame_width, frame_height], dtype=np.float64)
    else:
        tall = max(float(np.ptp(cloud[:, 1])) for cloud in clouds if len(cloud))
        tips = [tip for figure in figures if (tip := racket_tip(figure, tall)) is not None]
        points = np.vstack([points, *tips, np.empty((0, 2)) if also is None else also])
        margin = 0.09 * tall
        low, high = points.min(axis=0) - margin, points.max(axis=0) + margin
    width, height = high - low
    width, height = max(width, height / TALL), max(height, width * TALL)
    width, height = min(width, float(frame_width)), min(height, float(frame_height))
    centre = (low + high) / 2
    left = float(np.clip(centre[0] - width / 2, 0, frame_width - width))
    top = float(np.clip(centre[1] - height / 2, 0, frame_height - height))
    scale = min(shown_width / width, shown_height / height)
    return Crop(left, top, float(width), float(height), float(scale))


def racket_tip(figure: Figure, tall: float) -> npt.NDArray[np.floating[Any]] | None:
    """Guess the far end of the racket along the forearm, to leave room for it."""
    if figure.rear is None:
        return None
    elbow = figure.points.get(f"{figure.rear}_elbow")
    wrist = figure.points.get(f"{figure.rear}_wrist")
    if elbow is None or wrist is None:
        return None
    along = wrist - elbow
    length = float(np.linalg.norm(along))
    return None if length == 0 else (wrist + along / length * REACH * tall)[None]
