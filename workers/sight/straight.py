"""Straight edges in a picture: lines of the court and what is built along it, mostly.

Which of them belong to the court is not asked here.
"""

from __future__ import annotations

from functools import cache

import cv2
import numpy as np
import numpy.typing as npt

from workers.sight.moving import Picture

SHORTEST = 0.04
"""Length of the shortest edge that is kept, in the picture's longer side (working value)."""
MOST_A_PICTURE = 60
"""Edges kept of one picture, the longest ones (working value)."""

Ends = npt.NDArray[np.float64]


@cache
def _detector() -> cv2.LineSegmentDetector:
    # the a-contrario detector of segments (Image Processing On Line 2, 2012,
    # doi 10.5201/ipol.2012.gjmr-lsd): no threshold to tune
    return cv2.createLineSegmentDetector(cv2.LSD_REFINE_STD)


def straight_edges(luma: Picture, scale: float) -> Ends:
    """Return the ends of the longest straight edges of a picture, shape (N, 2, 2), pixels u, v.

    Parameters
    ----------
    luma : ndarray of uint8, shape (H, W)
    scale : float
        Its pixels per pixel of the film.
    """
    found: object = _detector().detect(luma)[0]
    if found is None:
        return np.empty((0, 2, 2))
    ends: Ends = np.asarray(found, np.float64).reshape(-1, 2, 2)
    length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
    order = np.argsort(-length)[:MOST_A_PICTURE]
    kept = order[length[order] >= SHORTEST * max(luma.shape)]
    # pixel centres are at whole numbers there, at halves here
    return np.asarray((ends[kept] + 0.5) / scale)
