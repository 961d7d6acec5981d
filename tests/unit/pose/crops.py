"""Where a point of the picture lies in a crop."""

from __future__ import annotations

import numpy as np

from workers.pose.crop import SquareCrop


def to_crop(crop: SquareCrop, xy: np.ndarray, n: int) -> np.ndarray:
    """Picture points, shape (..., 2), in crop coordinates, by the matrix that cuts the picture."""
    matrix = crop.matrix(n)
    return xy @ matrix[:, :2].T + matrix[:, 2]
