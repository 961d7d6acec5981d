"""The rest body of a phenotype: vertices and bone heads, and what all bodies share.

They come from the package `anny` (`training` extra; body data CC0, code Apache-2.0) unless `use`
names another source, as the file of `body_basis`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Protocol

import numpy as np

from .rotation import Array

#: turns the mesh's axes (left, back, up) into ours (forward, left, up)
_AXES = np.array([[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
SHAPE = ("gender", "age", "muscle", "weight", "height", "proportions")
"""What of a phenotype shapes the rest body, each 0..1; other entries are ours."""


@dataclass(frozen=True)
class Topology:
    """What all bodies share.

    faces (F, 3); bones by name; weights (V, 9) over the bones by index (V, 9); keypoints (17, V)
    regression of the COCO joints from the skin.
    """

    faces: np.ndarray
    bones: list[str]
    weights: Array
    indices: np.ndarray
    keypoints: Array


class Bodies(Protocol):
    """Where rest bodies come from."""

    def topology(self) -> Topology:
        """The shared part of all bodies."""

    def rest(self, phenotype: Mapping[str, float]) -> tuple[Array, Array]:
        """Vertices (V, 3) and bone heads (B, 3) of a phenotype at rest, metres."""


class AnnyBodies:
    """Bodies of the package `anny`."""

    def topology(self) -> Topology:
        """The shared part of all bodies."""
        import anny

        model = _model()
        weights = anny.KeypointsRegressor.coco(model).regression_weights.double().numpy()
        return Topology(
            faces=model.faces.numpy().astype(np.int32),
            bones=list(model.bone_labels),
            weights=model.vertex_bone_weights.double().numpy(),
            indices=model.vertex_bone_indices.numpy(),
            keypoints=weights[:17],
        )

    def rest(self, phenotype: Mapping[str, float]) -> tuple[Array, Array]:
        """Vertices (V, 3) and bone heads (B, 3) of a phenotype at rest, metres."""
        import torch

        with torch.no_grad():
            rest = _model()(phenotype_kwargs={k: phenotype[k] for k in SHAPE})
        vertices = rest["rest_vertices"][0].double().numpy() @ _AXES.T
        heads = rest["rest_bone_heads"][0].double().numpy() @ _AXES.T
        return vertices, heads

    def anchors(self, youngest: float) -> dict[str, Array]:
        """Values of each entry of `SHAPE` between which the body is linear."""
        import torch
        from anny.models.phenotype import make_phenotype_anchors

        found = {k: v.numpy() for k, v in make_phenotype_anchors(torch.float64).items()}
        return {k: found[k][found[k] >= youngest] if k == "age" else found[k] for k in SHAPE}


@lru_cache(maxsize=1)
def _model() -> Any:
    import anny
    import torch

    torch.set_num_threads(1)
    return anny.Anny()


_SOURCE: list[Bodies] = [AnnyBodies()]


def use(bodies: Bodies) -> None:
    """Take all rest bodies of this process from another source."""
    _SOURCE[0] = bodies
    topology.cache_clear()


@lru_cache(maxsize=1)
def topology() -> Topology:
    """The shared part of all bodies."""
    return _SOURCE[0].topology()


def rest_body(phenotype: Mapping[str, float]) -> tuple[Array, Array]:
    """Vertices (V, 3) and bone heads (B, 3) of a phenotype at rest, metres."""
    return _SOURCE[0].rest(phenotype)
