"""The part of the frame that a picture shows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from PIL import Image

from workers.report.canvas import Picture
from workers.report.figure import Figure

TALL = 1.35
"""Height over width that a crop aims at."""

REACH = 0.32
"""Room for the racket beyond the wrist, in heights of the tallest figure: a racket is at most
73.7 cm long (ITF Rules of Tennis, rule 4), a figure with a raised arm a little over 2 m tall."""


@dataclass(frozen=True, slots=True)
class Crop:
    """A rectangle of the frame, pixels, and the scale at which it is shown."""

    left: float
    top: float
    width: float
    height: float
    scale: float

    @property
    def size(self) -> tuple[int, int]:
        """Width and height as shown, pixels."""
        return round(self.width * self.scale), round(self.height * self.scale)

    def place(self, point: npt.ArrayLike) -> npt.NDArray[np.floating[Any]]:
        """Map pixels of the frame to pixels as shown, shape (..., 2)."""
        origin = np.array([self.left, self.top])
        return np.asarray((np.asarray(point, dtype=np.float64) - origin) * self.scale)

    def cut(self, frame: Picture) -> Image.Image:
        """Return the part of an RGB frame, at the scale shown."""
        box = (self.left, self.top, self.left + self.width, self.top + self.height)
        return Image.fromarray(frame).resize(self.size, Image.Resampling.LANCZOS, box=box)


def around(
    figures: Sequence[Figure],
    frame_width: int,
    frame_height: int,
    *,
    shown_width: int = 1080,
    shown_height: int = 1458,
) -> Crop:
    """Return one crop that holds all the figures, racket and feet included."""
    clouds = [figure.extent() for figure in figures]
    points = np.vstack([*clouds, np.empty((0, 2))])
    if len(points) == 0:
        low, high = np.zeros(2), np.array([frame_width, frame_height], dtype=np.float64)
    else:
        tall = max(float(np.ptp(cloud[:, 1])) for cloud in clouds if len(cloud))
        tips = [tip for figure in figures if (tip := _racket_tip(figure, tall)) is not None]
        points = np.vstack([points, *tips])
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


def _racket_tip(figure: Figure, tall: float) -> npt.NDArray[np.floating[Any]] | None:
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
