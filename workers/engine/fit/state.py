"""The unknowns of the fit and how a step changes them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.contract.tracks import FloatArray
from workers.engine.camera import LevelCamera
from workers.engine.fit.observations import BODY_SHARED, SHARED
from workers.engine.fit.others import OTHER, OtherCamera
from workers.engine.fit.skeleton import FREE, VECTORS, block_index


@dataclass(slots=True)
class FitState:
    """Unknowns: segment vectors (T, 18, 3), body lengths and offsets (metres), cameras."""

    vectors: FloatArray
    body: FloatArray
    camera: LevelCamera
    others: tuple[OtherCamera, ...] = ()

    def moved(self, step: FloatArray, shared: FloatArray, basis: FloatArray) -> FitState:
        """Return the state after a step in tangent components."""
        return FitState(
            self.moved_vectors(step, basis),
            self.body + shared[:BODY_SHARED],
            self.camera.moved(*shared[BODY_SHARED : len(SHARED)]),
            tuple(
                other.moved(shared[len(SHARED) + i * len(OTHER) :][: len(OTHER)])
                for i, other in enumerate(self.others)
            ),
        )

    def moved_vectors(self, step: FloatArray, basis: FloatArray) -> FloatArray:
        """Return the segment vectors after one or more steps, (..., T, 39) -> (..., T, 18, 3)."""
        full = np.zeros((*step.shape[:-1], 3 * len(VECTORS)))
        full[..., block_index()] = step
        along = full.reshape(*step.shape[:-1], -1, 3, 1)
        delta = basis[..., 0] * along[..., 0, :]
        delta += basis[..., 1] * along[..., 1, :]
        delta[..., :FREE, :] += basis[:, :FREE, :, 2] * along[..., :FREE, 2, :]
        # A unit vector must not turn by more than about 40 deg in one step.
        turned = delta[..., FREE:, :]
        turned *= np.minimum(1.0, 0.8 / np.maximum(_size(turned), 1e-9))
        delta += self.vectors
        turned /= _size(turned)
        return delta


def _size(v: FloatArray) -> FloatArray:
    return np.asarray(np.sqrt(np.einsum("...c,...c->...", v, v))[..., None])
