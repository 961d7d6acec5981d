"""Numbers of films in packs: whole numbers of 16 bits, in fixed steps."""

from __future__ import annotations

import numpy as np

from models.contract.tracks import FloatArray
from models.training.rendered.rotation import Array

PIXEL, METRE, SURE = 1.0 / 20.0, 1.0 / 4000.0, 1.0 / 10000.0
"""Steps of stored pixels, metres and confidences; whole numbers of 16 bits. NaN is `NOT_SEEN`."""
NOT_SEEN = -32768


def stored(values: FloatArray, step: float) -> np.ndarray:
    """Values as whole numbers of a step, int16; NaN becomes `NOT_SEEN`."""
    scaled = np.clip(np.round(np.asarray(values) / step), -32767, 32767)
    return np.where(np.isfinite(scaled), scaled, NOT_SEEN).astype(np.int16)


def plain(values: np.ndarray, step: float) -> Array:
    """Return stored numbers as they were, NaN for `NOT_SEEN`."""
    return np.where(values == NOT_SEEN, np.nan, values.astype(np.float64) * step)
