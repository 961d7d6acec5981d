"""The unknowns of the fit and how a step changes them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.contract.tracks import FloatArray
from workers.engine.camera import LevelCamera
from workers.engine.fit.observations import BODY_SHARED
from workers.engine.fit.skeleton import FREE, VECTORS, block_index


@dataclass(slots=True)
class FitState:
    """Unknowns: segment vectors (T, 18, 3), body lengths and offsets (metres), camera."""

    vectors: FloatArray
    body: FloatArray
    camera: LevelCamera

    def moved(self, step: FloatArray, shared: FloatArray, basis: FloatArray) -> FitState:
        """Return the state after a step in tangent components."""
        full = np.zeros((len(step), 3 * len(VECTORS)))
        full[:, block_index()] = step
        delta = np.einsum("tkci,tki->tkc", basis, full.reshape(len(step), -1, 3))
        # A unit vector must not turn by more than about 40 deg in one step.
        size = np.linalg.norm(delta[:, FREE:], axis=-1, keepdims=True)
        delta[:, FREE:] *= np.minimum(1.0, 0.8 / np.maximum(size, 1e-9))
        vectors = self.vectors + delta
        vectors[:, FREE:] /= np.linalg.norm(vectors[:, FREE:], axis=-1, keepdims=True)
        return FitState(
            vectors,
            self.body + shared[:BODY_SHARED],
            self.camera.moved(*shared[BODY_SHARED:]),
        )
