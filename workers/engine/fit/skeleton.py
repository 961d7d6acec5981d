"""The articulated body of the fit: every point is a linear combination of segment vectors.

Eighteen vectors per instant carry the pose: the mid-hip (metres), the trunk vector mid-hip to
mid-shoulder (metres), how far an unsteady camera shifts the picture (metres at the body) and
fifteen unit directions. With the body lengths they give every joint:
``front_knee = mid_hip + pelvis/2 * u_pelvis + thigh * u_front_thigh``. Constant bone lengths are
therefore exact, and derivatives are trivial. Everything is in stature-free metres of the levelled
camera frame (see ``workers.engine.camera``); the body is the canonical one (left-handers mirrored).
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from models.contract.skeleton import ARM_AND_LEG, CANONICAL_BODY, Skeleton, part_of
from models.contract.tracks import FloatArray, IntArray
from workers.engine.proportions import LENGTHS

VECTORS: tuple[str, ...] = (
    "mid_hip",
    "trunk",
    "shake",
    "pelvis",
    "shoulders",
    "tossing_upper_arm",
    "hitting_upper_arm",
    "tossing_forearm",
    "hitting_forearm",
    "front_thigh",
    "rear_thigh",
    "front_shank",
    "rear_shank",
    "front_toe",
    "rear_toe",
    "front_heel",
    "rear_heel",
    "head",
)
"""Free vectors first (``FREE``), then unit directions. Pelvis and shoulders point from the
rear (hitting) to the front (tossing) side."""

FREE = 3
"""How many of `VECTORS` are free 3-vectors in metres; the others are unit directions."""

POINTS = Skeleton(("head", *CANONICAL_BODY.names[CANONICAL_BODY.index("tossing_shoulder") :]))
"""Points of the fitted body; ``head`` is the mid-point of the ears."""

SEGMENT_LENGTH: dict[str, str] = {
    "pelvis": "pelvis",
    "shoulders": "shoulders",
    "upper_arm": "upper_arm",
    "forearm": "forearm",
    "thigh": "thigh",
    "shank": "shank",
    "toe": "toe",
    "heel": "heel",
    "head": "head",
}


def vector(name: str) -> int:
    """Return the index of a segment vector."""
    return VECTORS.index(name)


def point(name: str) -> int:
    """Return the index of a body point."""
    return POINTS.index(name)


def length_of(vector_name: str) -> str | None:
    """Return which body length scales a unit vector; None for the free vectors."""
    return SEGMENT_LENGTH.get(part_of(vector_name))


def point_maps() -> tuple[FloatArray, FloatArray]:
    """Return the maps from segment vectors to points.

    Returns
    -------
    constant : ndarray, shape (17 points, 18 vectors)
    per_length : ndarray, shape (11 lengths, 17 points, 18 vectors)
        ``points = (constant + sum_i length_i * per_length[i]) @ vectors``; lengths in metres.
    """
    size = (len(POINTS), len(VECTORS))
    constant = np.zeros(size)
    per_length = np.zeros((len(LENGTHS), *size))
    constant[:, vector("mid_hip")] = 1.0

    def add(names: tuple[str, ...], length: str, vector_name: str, factor: float = 1.0) -> None:
        for name in names:
            per_length[LENGTHS.index(length), point(name), vector(vector_name)] += factor

    for (arm_side, leg_side), sign in zip(ARM_AND_LEG, (1.0, -1.0), strict=True):
        arm = tuple(f"{arm_side}_{n}" for n in ("shoulder", "elbow", "wrist"))
        leg = tuple(f"{leg_side}_{n}" for n in ("hip", "knee", "ankle", "heel", "toe"))
        for name in arm:
            constant[point(name), vector("trunk")] = 1.0
        add(arm, "shoulders", "shoulders", sign / 2)
        add(arm[1:], "upper_arm", f"{arm_side}_upper_arm")
        add(arm[2:], "forearm", f"{arm_side}_forearm")
        add(leg, "pelvis", "pelvis", sign / 2)
        add(leg[1:], "thigh", f"{leg_side}_thigh")
        add(leg[2:], "shank", f"{leg_side}_shank")
        add(leg[3:4], "heel", f"{leg_side}_heel")
        add(leg[4:], "toe", f"{leg_side}_toe")
    constant[point("head"), vector("trunk")] = 1.0
    add(("head",), "head", "head")
    return constant, per_length


def tangent_basis(vectors: FloatArray) -> FloatArray:
    """Return an orthonormal basis per vector whose first two columns are square to it.

    Parameters
    ----------
    vectors : ndarray, shape (..., 18, 3)

    Returns
    -------
    ndarray, shape (..., 18, 3, 3)
        The identity for the free vectors.
    """
    basis = np.zeros((*vectors.shape, 3))
    basis[..., :FREE, :, :] = np.eye(3)
    unit = vectors[..., FREE:, :]
    # The branch-free construction of Duff et al. 2017, J Comput Graph Tech 6(1):1-8.
    sign = np.where(unit[..., 2] >= 0, 1.0, -1.0)
    a = -1.0 / (sign + unit[..., 2])
    b = unit[..., 0] * unit[..., 1] * a
    basis[..., FREE:, 0, 0] = 1.0 + sign * unit[..., 0] ** 2 * a
    basis[..., FREE:, 1, 0] = sign * b
    basis[..., FREE:, 2, 0] = -sign * unit[..., 0]
    basis[..., FREE:, 0, 1] = b
    basis[..., FREE:, 1, 1] = sign + unit[..., 1] ** 2 * a
    basis[..., FREE:, 2, 1] = -unit[..., 1]
    basis[..., FREE:, :, 2] = unit
    return basis


@lru_cache(maxsize=1)
def block_index() -> IntArray:
    """Return which of the 54 components in the tangent bases are unknowns, shape (39,)."""
    keep = np.ones((len(VECTORS), 3), dtype=bool)
    keep[FREE:, 2] = False
    index = np.flatnonzero(keep.ravel())
    index.setflags(write=False)
    return index
