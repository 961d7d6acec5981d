"""A film small enough to keep: few, small pictures, compressed.

The first reading of a film leaves them behind, so that a first look at the movement costs no second
decoding. A minute takes about 15 MB.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import cv2
import numpy as np

from workers.pose.frames import Frame, Picture

LONG_SIDE = 640
"""Longest side of a kept picture, pixels: a server who fills half of it still has the pixels that
the pose network takes in (256)."""
EVERY_S = 0.08
"""Time between kept pictures, seconds. A hand stays overhead for at least 0.25 s in a serve
(rendered serves; working value)."""
QUALITY = 90
"""JPEG quality, 0..100 (working value)."""


@dataclass(frozen=True, slots=True)
class Kept:
    """One kept picture."""

    index: int
    time_s: float
    jpeg: bytes

    @property
    def rgb(self) -> Picture:
        """Decode it."""
        picture = cv2.imdecode(np.frombuffer(self.jpeg, np.uint8), cv2.IMREAD_COLOR_RGB)
        return np.asarray(picture, dtype=np.uint8)


@dataclass(frozen=True, slots=True)
class Shrunk:
    """A frame made small, as it is; valid as long as the frame is."""

    index: int
    time_s: float
    rgb: Picture


@dataclass
class Proxy:
    """The kept pictures of a film.

    Attributes
    ----------
    scale : float
        Pixels of the film per pixel of a kept picture.
    """

    scale: float = 1.0
    _kept: list[Kept] = field(default_factory=list)
    _due: float = -np.inf

    def __len__(self) -> int:
        return len(self._kept)

    def __iter__(self) -> Iterator[Kept]:
        return iter(self._kept)

    def offer(self, frame: Frame) -> Shrunk | None:
        """Keep this frame if it is time for one; return it small."""
        if frame.time_s < self._due:
            return None
        self._due = frame.time_s + EVERY_S - 1e-9
        picture = frame.rgb
        height, width = picture.shape[:2]
        self.scale = max(1.0, max(height, width) / LONG_SIDE)
        if self.scale > 1.0:
            size = (max(1, round(width / self.scale)), max(1, round(height / self.scale)))
            picture = np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), np.uint8)
        bgr = cv2.cvtColor(picture, cv2.COLOR_RGB2BGR)
        _, jpeg = cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])
        self._kept.append(Kept(frame.index, frame.time_s, jpeg.tobytes()))
        return Shrunk(frame.index, frame.time_s, picture)
