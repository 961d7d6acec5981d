"""Looks at frames as they pass by: small moving things, pictures shown again, straight edges."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field

import cv2
import numpy as np

from models.contract.sightings import Sightings
from workers.sight.moving import (
    LEAST_DIFFERENCE,
    Picture,
    Planes,
    Thing,
    difference,
    reduced,
    things,
)
from workers.sight.straight import Ends, straight_edges

SHOWN_AGAIN = 0.2
"""Share of the usual change under which a picture is taken for the one before (working value:
films stored at twice their rate and encoded anew leave 0.02 to 0.1)."""
EDGES_EVERY_S = 1.5
"""Straight edges stand still: they are looked for so seldom within a stretch, seconds (working
value)."""
USUAL_OF = 8
"""Changes from which the usual one is taken: the second largest of so many."""


def moved(apart: Picture) -> float:
    """Return how much of a picture moved, grey levels (root mean square): differences that noise
    and compression make are left out.
    """
    _, clear = cv2.threshold(apart, LEAST_DIFFERENCE - 1, 0, cv2.THRESH_TOZERO)
    return float(cv2.norm(clear, cv2.NORM_L2) / np.sqrt(clear.size))


@dataclass
class Watcher:
    """Is shown frames in order; `sightings` returns what was seen.

    A picture that repeats the one before is passed over, so that the ball is compared with where
    it was, not with itself.
    """

    _frames: list[tuple[int, float, float]] = field(default_factory=list)
    _things: list[tuple[int, Thing]] = field(default_factory=list)
    _last: tuple[int, Planes, float] | None = None
    _since: Picture | None = None
    _usual: deque[float] = field(default_factory=lambda: deque(maxlen=USUAL_OF))
    _before: int = -2
    _edges: list[tuple[int, Ends]] = field(default_factory=list)
    _edges_s: float = -np.inf

    def show(self, index: int, time_s: float, rgb: Picture) -> None:
        """Take the next frame: its index, time in seconds and pixels (H, W, 3), RGB."""
        picture, scale = reduced(rgb)
        if index != self._before + 1:
            self._last = self._since = None
            self._usual.clear()
            self._edges_s = -np.inf
        self._before = index
        if time_s - self._edges_s >= EDGES_EVERY_S:
            self._edges_s = time_s
            self._edges.append((index, straight_edges(picture[0], scale)))
        change = float("nan")
        if self._last is not None:
            apart = difference(picture, self._last[1])
            change = moved(apart)
        self._frames.append((index, time_s, change))
        if self._last is None:
            self._last = (index, picture, scale)
            return
        usual = sorted(self._usual)[-2:]
        self._usual.append(change)
        if len(usual) == 2 and change < SHOWN_AGAIN * usual[0]:
            return
        if self._since is not None:
            self._things += [(self._last[0], t) for t in things(self._since, apart, scale)]
        self._last, self._since = (index, picture, scale), apart

    def sightings(self) -> Sightings:
        """Return everything seen so far."""
        found = self._things
        return Sightings(
            looked=np.array([index for index, _, _ in self._frames], np.int64),
            looked_s=np.array([time for _, time, _ in self._frames], np.float64),
            change=np.array([change for _, _, change in self._frames], np.float64),
            thing_frame=np.array([index for index, _ in found], np.int64),
            thing_xy=np.array([t.xy for _, t in found], np.float64).reshape(-1, 2),
            thing_half=np.array([t.half for _, t in found], np.float64).reshape(-1, 2),
            thing_width=np.array([t.width for _, t in found], np.float64),
            thing_score=np.array([t.score for _, t in found], np.float64),
            edge_frame=np.array([i for i, ends in self._edges for _ in ends], np.int64),
            edge_ends=np.concatenate([np.empty((0, 2, 2)), *(ends for _, ends in self._edges)]),
        )
