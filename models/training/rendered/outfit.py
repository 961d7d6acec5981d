"""Clothes by body part: face colours and a little cloth thickness on the rest mesh."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .body_mesh import BodyMesh
from .raster import vertex_normals
from .rotation import Array

SKIN = [(0.80, 0.60, 0.47), (0.92, 0.74, 0.62), (0.55, 0.37, 0.26), (0.38, 0.25, 0.18)]
SHIRT = [(0.90, 0.90, 0.90), (0.85, 0.18, 0.15), (0.95, 0.75, 0.15), (0.15, 0.35, 0.75)]
SHIRT += [(0.20, 0.22, 0.25), (0.20, 0.60, 0.35), (0.85, 0.45, 0.65)]
SHORTS = [(0.92, 0.92, 0.92), (0.10, 0.11, 0.20), (0.30, 0.28, 0.55), (0.25, 0.25, 0.27)]
SHOES = [(0.95, 0.95, 0.95), (0.85, 0.25, 0.15), (0.15, 0.15, 0.17)]
HAIR = [(0.12, 0.09, 0.07), (0.35, 0.18, 0.10), (0.75, 0.60, 0.35), (0.93, 0.93, 0.93)]
HAIR += [(0.18, 0.17, 0.40)]


@dataclass(frozen=True)
class Outfit:
    """Dressed rest vertices (V, 3) and face colours (F, 3) in 0..1."""

    vertices: Array
    colours: np.ndarray


def _strongest_bone(mesh: BodyMesh) -> list[str]:
    best = np.argmax(mesh.weights, axis=1)
    return [mesh.bones[i] for i in mesh.indices[np.arange(len(best)), best]]


def _parts(mesh: BodyMesh) -> np.ndarray:
    """Part of every vertex: 0 skin, 1 shirt, 2 shorts, 3 sock, 4 shoe, 5 hair, 6 eye, 7 mouth."""
    bones = _strongest_bone(mesh)
    h, v = mesh.heads, mesh.vertices
    hip_z, ankle_z = h["upperleg01.L"][2], h["foot.L"][2]
    knee_z = h["lowerleg01.L"][2]
    ear = h["head"] + mesh.skeleton.face["left_ear"]
    eye = h["head"] + mesh.skeleton.face["left_eye"]
    part = np.zeros(len(v), np.int64)
    for i, bone in enumerate(bones):
        base, _, side = bone.partition(".")
        x, _, z = v[i]
        if base in ("head", "eye") or base.startswith("neck"):
            up, back = z - eye[2], x - ear[0]
            if up > 0.052 or (back < -0.004 and up > -0.075):
                part[i] = 5
            elif base == "eye":
                part[i] = 6
        elif base.startswith(("spine", "clavicle", "shoulder", "upperarm")):
            part[i] = 1
            if base == "upperarm02":
                axis = h[f"lowerarm01.{side}"] - h[f"upperarm01.{side}"]
                share = (v[i] - h[f"upperarm01.{side}"]) @ axis / (axis @ axis)
                part[i] = 1 if share < 0.55 else 0
            if base.startswith("spine") and z < hip_z + 0.10:
                part[i] = 2
            if z > h["neck01"][2] + 0.015 and base in ("spine01", "clavicle"):
                part[i] = 0
        elif base.startswith(("root", "pelvis", "upperleg")):
            part[i] = 2 if z > knee_z + 0.32 * (hip_z - knee_z) else 0
            if z > hip_z + 0.10:
                part[i] = 1
        elif base.startswith(("lowerleg02", "foot", "toe")):
            part[i] = 4 if base.startswith(("foot", "toe")) and z < ankle_z + 0.02 else 0
            if part[i] == 0 and z < ankle_z + 0.09:
                part[i] = 3
    return part


#: cloth thickness in metres by part
_THICK = np.array([0.0, 0.010, 0.016, 0.003, 0.006, 0.012, 0.0, 0.0])


def _smoothed(mesh: BodyMesh, chosen: np.ndarray, rounds: int) -> Array:
    """Rest vertices with the chosen ones relaxed towards their neighbours: toes become a shoe."""
    out = mesh.vertices.copy()
    pairs = np.vstack([mesh.faces[:, [0, 1]], mesh.faces[:, [1, 2]], mesh.faces[:, [2, 0]]])
    pairs = pairs[chosen[pairs].any(axis=1)]
    first, second = np.concatenate([pairs, pairs[:, ::-1]]).T
    count = np.maximum(np.bincount(first, minlength=len(out)), 1)[:, None]
    for _ in range(rounds):
        total = np.stack([np.bincount(first, out[second, k], len(out)) for k in range(3)], axis=1)
        out[chosen] = (0.5 * out + 0.5 * total / count)[chosen]
    low = mesh.vertices[chosen, 2].min()
    flat = chosen & (mesh.vertices[:, 2] < low + 0.012)
    out[flat, 2] = mesh.vertices[flat, 2]
    return out


def dress(
    mesh: BodyMesh, rng: np.random.Generator, other_day: np.random.Generator | None = None
) -> Outfit:
    """Clothes drawn at random; the cloth stands off the skin a little.

    `other_day` draws shirt, shorts and shoes anew, for a person whose skin and hair stay.
    """
    part = _parts(mesh)
    normals = vertex_normals(mesh.vertices, mesh.faces)
    off = _THICK[part]
    hem = (part == 2) & (mesh.vertices[:, 2] < mesh.heads["upperleg01.L"][2] - 0.10)
    off = np.where(hem, 0.026, off)
    push = normals * off[:, None]
    push[part == 4, 2] = 0.0  # shoes grow sideways only, the sole stays on the floor
    worn = _smoothed(mesh, part == 4, 25)
    palette = np.array(
        [
            SKIN[rng.integers(len(SKIN))],
            SHIRT[rng.integers(len(SHIRT))],
            SHORTS[rng.integers(len(SHORTS))],
            (0.9, 0.9, 0.9),
            SHOES[rng.integers(len(SHOES))],
            HAIR[rng.integers(len(HAIR))],
            (0.12, 0.10, 0.10),
            (0.6, 0.3, 0.3),
        ]
    )
    if other_day is not None:
        for row, colours in ((1, SHIRT), (2, SHORTS), (4, SHOES)):
            palette[row] = colours[other_day.integers(len(colours))]
    corner = np.sort(part[mesh.faces], axis=1)
    colours = palette[
        corner[:, 1]
    ]  # the middle one of three corners: the majority where there is one
    colours = colours * (1.0 + 0.03 * rng.normal(size=(len(colours), 1)))
    return Outfit(worn + push, np.clip(colours, 0, 1).astype(np.float32))
