"""Limb segments of the rest body brought to published lengths, with differences between people.

The mesh's arms are short (forearms of its women by an eighth), so they are stretched along the
segment; the skin follows by its own weights.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from .rotation import Array, unit
from .skeleton import LENGTHS_MM, STATURE_MM

#: segment -> joints at its ends, parts of it moved rigidly at its far end
LIMBS = {
    "upper_arm": ("shoulder", "elbow"),
    "forearm": ("elbow", "wrist"),
    "thigh": ("hip", "knee"),
    "shank": ("knee", "ankle"),
}
_CHAINS = (("upper_arm", "forearm", "hand"), ("thigh", "shank", "foot"))
_SEGMENT = {
    "upperarm": "upper_arm",
    "lowerarm": "forearm",
    "wrist": "hand",
    "metacarpal": "hand",
    "finger": "hand",
    "upperleg": "thigh",
    "lowerleg": "shank",
    "foot": "foot",
    "toe": "foot",
}


def arm_factors(
    joints: Mapping[str, Array], stature: float, phenotype: Mapping[str, float]
) -> dict[str, float]:
    """Factors that bring the arms to de Leva's share of stature (J Biomech 1996, doi
    10.1016/0021-9290(95)00178-6), times the person's own factors of all four limb segments.
    """
    own = {name: float(phenotype.get(name, 1.0)) for name in LIMBS}
    female = phenotype["gender"]
    for name in ("upper_arm", "forearm"):
        women, men = (LENGTHS_MM[name][i] / STATURE_MM[i] for i in (0, 1))
        start, end = LIMBS[name]
        length = float(np.linalg.norm(joints[f"L_{end}"] - joints[f"L_{start}"]))
        own[name] *= (female * women + (1.0 - female) * men) * stature / length
    return own


def stretched(
    vertices: Array,
    heads: Array,
    joints: Mapping[str, Array],
    bones: list[str],
    weights: Array,
    indices: np.ndarray,
    factors: Mapping[str, float],
) -> tuple[Array, Array, dict[str, Array]]:
    """Vertices, heads and joint centres with each limb segment `factors` times as long."""
    turn, shift, moved = _moves(joints, factors)
    matrices = np.tile(np.eye(3, 4), (len(bones), 1, 1))
    out = heads.copy()
    for i, bone in enumerate(bones):
        base, _, side = bone.partition(".")
        part = next((p for start, p in _SEGMENT.items() if base.startswith(start)), None)
        if part is not None:
            key = f"{side}_{part}"
            matrices[i, :, :3], matrices[i, :, 3] = turn[key], shift[key]
            out[i] = turn[key] @ heads[i] + shift[key]
    blended = np.einsum("vk,vkij->vij", weights, matrices[indices])
    skin = np.einsum("vij,vj->vi", blended[:, :, :3], vertices) + blended[:, :, 3]
    return skin, out, moved


def _moves(
    joints: Mapping[str, Array], factors: Mapping[str, float]
) -> tuple[dict[str, Array], dict[str, Array], dict[str, Array]]:
    """Linear map and shift of each segment, and the moved joint centres."""
    turn: dict[str, Array] = {}
    shift: dict[str, Array] = {}
    moved = dict(joints)
    for side in "LR":
        for chain in _CHAINS:
            off = np.zeros(3)
            for part in chain:
                key = f"{side}_{part}"
                if part not in LIMBS:
                    turn[key], shift[key] = np.eye(3), off
                    continue
                start, end = (joints[f"{side}_{j}"] for j in LIMBS[part])
                along = unit(end - start)
                turn[key] = np.eye(3) + (factors[part] - 1.0) * np.outer(along, along)
                shift[key] = start + off - turn[key] @ start
                off = turn[key] @ end + shift[key] - end
                moved[f"{side}_{LIMBS[part][1]}"] = end + off
    return turn, shift, moved
