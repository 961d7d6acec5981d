"""A skirt as a surface of its own around hips and thighs, skinned to pelvis and legs."""

from __future__ import annotations

import numpy as np

from .body_mesh import BodyMesh
from .rotation import Array

AROUND, DOWN = 36, 7
_CLOTH = 0.014
"""Distance from the widest body under it, metres (working value)."""


def skirt(
    mesh: BodyMesh, dressed: Array, length: float, flare: float
) -> tuple[Array, np.ndarray, Array, np.ndarray]:
    """Vertices (S, 3), faces (G, 3) from 0, weights (S, 9) and bone indices (S, 9).

    `length` is the share of the thigh that is covered, `flare` the widening in metres at the hem.
    """
    hip, knee = mesh.joints["L_hip"], mesh.joints["L_knee"]
    top, hem = hip[2] + 0.09, hip[2] - length * (hip[2] - knee[2])
    near = (dressed[:, 2] < top + 0.02) & (dressed[:, 2] > hem) & (np.abs(dressed[:, 1]) < 0.4)
    near &= _of_trunk_and_legs(mesh)
    middle = np.array([0.5 * (dressed[near, 0].min() + dressed[near, 0].max()), 0.0])
    angles = np.arange(AROUND) * 2 * np.pi / AROUND
    ways = np.stack([np.cos(angles), np.sin(angles)], axis=1)
    points, weights, indices = [], [], []
    bones = {name: i for i, name in enumerate(mesh.bones)}
    held = [bones["root"], bones["upperleg01.L"], bones["upperleg01.R"]]
    reach = np.zeros(AROUND)
    for k in range(DOWN):
        share = k / (DOWN - 1)
        z = top + share * (hem - top)
        ring = dressed[near & (np.abs(dressed[:, 2] - z) < 0.035), :2] - middle
        # cloth hangs from the widest place above: the outline is the hull's support, never less
        reach = np.maximum(reach, (ring @ ways.T).max(axis=0)) if len(ring) else reach
        radius = np.maximum(reach, 0.9 * np.roll(reach, 1)) * 0.97 + _CLOTH + flare * share
        flat = middle + radius[:, None] * ways
        points.append(np.column_stack([flat, np.full(AROUND, z)]))
        left = np.clip(0.5 + flat[:, 1] / 0.16, 0.0, 1.0)
        legs = 0.8 * np.clip((hip[2] + 0.02 - z) / (hip[2] - hem), 0.0, 1.0)
        rows = np.zeros((AROUND, mesh.weights.shape[1]))
        rows[:, 0], rows[:, 1], rows[:, 2] = 1.0 - legs, legs * left, legs * (1.0 - left)
        weights.append(rows)
        where = np.zeros((AROUND, mesh.indices.shape[1]), mesh.indices.dtype)
        where[:, :3] = held
        indices.append(where)
    faces = []
    for k in range(DOWN - 1):
        for i in range(AROUND):
            a, b = k * AROUND + i, k * AROUND + (i + 1) % AROUND
            faces += [(a, a + AROUND, b), (b, a + AROUND, b + AROUND)]
    return (
        np.vstack(points),
        np.array(faces, np.int32),
        np.vstack(weights),
        np.vstack(indices),
    )


def _of_trunk_and_legs(mesh: BodyMesh) -> np.ndarray:
    """Vertices moved by trunk or legs; hands hang at the same height."""
    strongest = np.argmax(mesh.weights, axis=1)
    own = mesh.indices[np.arange(len(strongest)), strongest]
    part = np.array(
        [name.startswith(("root", "pelvis", "spine", "upperleg")) for name in mesh.bones]
    )
    return np.asarray(part[own])
