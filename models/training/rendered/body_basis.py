"""A small file from which the rest body of any phenotype is built without the `training` extra.

The rest body is multilinear in the phenotype's entries between their anchors, so the bodies at the
corners of the anchor grid say everything; a principal-component basis of them, mirrored halves
stored once, keeps sampled bodies within a millimetre. Body data: CC0 (see `rest_body`).

``python -m models.training basis --out BODIES.npz`` writes it (needs the extra).
"""

from __future__ import annotations

import argparse
import itertools
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.spatial import cKDTree

from .rest_body import SHAPE, AnnyBodies, Topology
from .rotation import Array

COMPONENTS = 90
"""Working value: 600 sampled phenotypes then differ by less than 1 mm (a test measures some)."""
YOUNGEST = 1.0 / 3.0 - 1e-6
"""Lowest age anchor kept: a child of the lower school years."""
_MIRROR = np.array([1.0, -1.0, 1.0])


@dataclass(frozen=True)
class BasisBodies:
    """Bodies from the file; the same two calls as `rest_body.AnnyBodies`.

    anchors entry -> (A,) values; corners (A1, ..., A6, K) coefficients; mean (D,) and components
    (K, D) of the kept vertices and the bone heads; kept and mirrored (V,) rebuild all vertices.
    """

    shared: Topology
    anchors: dict[str, Array]
    corners: Array
    mean: Array
    components: np.ndarray
    source: np.ndarray
    flipped: np.ndarray

    def topology(self) -> Topology:
        """The shared part of all bodies."""
        return self.shared

    def rest(self, phenotype: Mapping[str, float]) -> tuple[Array, Array]:
        """Vertices (V, 3) and bone heads (B, 3), metres.

        Raises
        ------
        ValueError
            For an entry outside the file's range.
        """
        weights = self.corners
        for name in SHAPE:
            weights = np.tensordot(_shares(self.anchors[name], name, phenotype[name]), weights, 1)
        values = self.mean + np.asarray(weights, np.float32) @ self.components
        values = values.astype(np.float64).reshape(-1, 3)
        heads = len(self.shared.bones)
        vertices = values[:-heads][self.source]
        vertices[self.flipped] *= _MIRROR
        return vertices, values[-heads:]


def _shares(anchors: Array, name: str, value: float) -> Array:
    """Weights of the anchors for a value between two of them."""
    if not anchors[0] - 1e-9 <= value <= anchors[-1] + 1e-9:
        raise ValueError(f"{name} {value} is outside {anchors[0]:.3f} to {anchors[-1]:.3f}")
    hat = np.eye(len(anchors))
    return np.array([np.interp(value, anchors, row) for row in hat])


def load_basis(path: Path) -> BasisBodies:
    """Read the file."""
    with np.load(path, allow_pickle=False) as file:
        data = {key: file[key] for key in file.files}
    keypoints = np.zeros((17, len(data["source"])))
    keypoints[data["keypoint_rows"], data["keypoint_columns"]] = data["keypoint_weights"]
    weights = data["weights"].astype(np.float64)
    weights /= weights.sum(axis=1, keepdims=True)
    shared = Topology(
        faces=data["faces"].astype(np.int32),
        bones=[str(name) for name in data["bones"]],
        weights=weights,
        indices=data["indices"].astype(np.int64),
        keypoints=keypoints,
    )
    return BasisBodies(
        shared=shared,
        anchors={name: data[f"anchors_{name}"] for name in SHAPE},
        corners=data["corners"],
        mean=data["mean"],
        components=data["components"].astype(np.float32) * data["scales"][:, None],
        source=data["source"].astype(np.int64),
        flipped=data["flipped"],
    )


def write_basis(path: Path, count: int = COMPONENTS) -> None:
    """Make the basis from the extra's bodies and write it, whole or not at all."""
    bodies = AnnyBodies()
    shared, anchors = bodies.topology(), bodies.anchors(YOUNGEST)
    shape = [len(anchors[name]) for name in SHAPE]
    grid = itertools.product(*(anchors[name] for name in SHAPE))
    first = bodies.rest(dict.fromkeys(SHAPE, 0.5))[0]
    kept, source, flipped = _halves(first)
    rows = []
    for corner in grid:
        vertices, heads = bodies.rest(dict(zip(SHAPE, map(float, corner), strict=True)))
        rows.append(np.vstack([vertices[kept], heads]).ravel().astype(np.float32))
    table = np.stack(rows)
    mean = table.mean(axis=0)
    table -= mean
    values, vectors = np.linalg.eigh(table.astype(np.float64) @ table.T.astype(np.float64))
    best = np.argsort(values)[::-1][:count]
    components = (vectors[:, best].T @ table) / np.sqrt(values[best])[:, None]
    scales = np.abs(components).max(axis=1) / 32767.0
    rounded = np.round(components / scales[:, None]).astype(np.int16)
    corners = table @ (rounded * scales[:, None]).T
    rows_of, columns = np.nonzero(shared.keypoints)
    part = path.with_suffix(".part")
    with part.open("wb") as file:
        np.savez_compressed(
            file,
            mean=mean,
            components=rounded,
            scales=scales.astype(np.float32),
            corners=corners.reshape(*shape, -1).astype(np.float32),
            source=source.astype(np.int16),
            flipped=flipped,
            faces=shared.faces.astype(np.int16),
            weights=np.round(shared.weights * 65535.0).astype(np.uint16),
            indices=shared.indices.astype(np.uint8),
            bones=np.array(shared.bones),
            keypoint_rows=rows_of.astype(np.uint8),
            keypoint_columns=columns.astype(np.int16),
            keypoint_weights=shared.keypoints[rows_of, columns].astype(np.float32),
            **{f"anchors_{name}": anchors[name] for name in SHAPE},  # type: ignore[arg-type]
        )
    part.replace(path)


def _halves(vertices: Array) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Vertices that are kept (left side and middle), and for each vertex its kept one and whether
    that is its mirror image.
    """
    gap, partner = cKDTree(vertices).query(vertices * _MIRROR)
    left = (vertices[:, 1] >= 0.0) | (gap > 1e-5)
    kept = np.flatnonzero(left)
    place = np.full(len(vertices), -1)
    place[kept] = np.arange(len(kept))
    source = np.where(left, place, place[partner])
    if (source < 0).any():
        raise ValueError("the mesh is not symmetric: a right vertex has no left one")
    return kept, source, ~left


def main(arguments: Sequence[str] | None = None) -> int:
    """Command line; returns the exit code."""
    parser = argparse.ArgumentParser(prog="python -m models.training basis", description=__doc__)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--components", type=int, default=COMPONENTS)
    options = parser.parse_args(arguments)
    write_basis(options.out, options.components)
    print(f"{options.out}: {options.out.stat().st_size / 1e6:.1f} MB")
    return 0


if __name__ == "__main__":
    sys.exit(main())
