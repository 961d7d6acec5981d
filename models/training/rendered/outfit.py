"""Clothes by body part: face colours and a little cloth thickness on the rest mesh."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from .body_mesh import BodyMesh
from .raster import vertex_normals
from .rotation import Array
from .skirt import skirt

SKIN = [(0.80, 0.60, 0.47), (0.92, 0.74, 0.62), (0.55, 0.37, 0.26), (0.38, 0.25, 0.18)]
SHIRT = [(0.90, 0.90, 0.90), (0.85, 0.18, 0.15), (0.95, 0.75, 0.15), (0.15, 0.35, 0.75)]
SHIRT += [(0.20, 0.22, 0.25), (0.20, 0.60, 0.35), (0.85, 0.45, 0.65)]
SHORTS = [(0.92, 0.92, 0.92), (0.10, 0.11, 0.20), (0.30, 0.28, 0.55), (0.25, 0.25, 0.27)]
SHOES = [(0.95, 0.95, 0.95), (0.85, 0.25, 0.15), (0.15, 0.15, 0.17)]
HAIR = [(0.12, 0.09, 0.07), (0.35, 0.18, 0.10), (0.75, 0.60, 0.35), (0.93, 0.93, 0.93)]
HAIR += [(0.18, 0.17, 0.40)]


@dataclass(frozen=True)
class Outfit:
    """Dressed rest vertices (V, 3) and face colours (F, 3) in 0..1.

    Clothes that are surfaces of their own add to the body's vertices; `faces`, `weights` and
    `indices` are then those of body and clothes together.
    """

    vertices: Array
    colours: np.ndarray
    faces: np.ndarray
    weights: Array
    indices: np.ndarray

    def worn(self, mesh: BodyMesh) -> BodyMesh:
        """The mesh as it is drawn."""
        return replace(
            mesh,
            vertices=self.vertices,
            faces=self.faces,
            weights=self.weights,
            indices=self.indices,
        )


@dataclass(frozen=True)
class Cut:
    """How clothes fit: `loose` 0 = tight to 1 = wide; trousers reach `legs` of the shank (0 =
    shorts); a skirt covers `skirt` of the thigh (0 = none).
    """

    loose: float = 0.0
    legs: float = 0.0
    skirt: float = 0.0


def drawn_cut(rng: np.random.Generator, female: float) -> Cut:
    """Clothes of any fit; half of the women play in a skirt (working value)."""
    loose = float(rng.uniform(0.0, 1.0))
    if rng.random() < 0.5 * female:
        return Cut(loose, 0.0, float(rng.uniform(0.4, 0.75)))
    return Cut(loose, float(rng.uniform(0.5, 0.95)) if rng.random() < 0.25 else 0.0)


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


#: what the loosest clothes stand off more, metres by part
_LOOSE = np.array([0.0, 0.030, 0.022, 0.0, 0.0, 0.0, 0.0, 0.0])
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
    mesh: BodyMesh,
    rng: np.random.Generator,
    other_day: np.random.Generator | None = None,
    cut: Cut | None = None,
) -> Outfit:
    """Clothes drawn at random; the cloth stands off the skin a little.

    `other_day` draws shirt, shorts and shoes anew, for a person whose skin and hair stay.
    """
    part = _parts(mesh)
    cut = cut or Cut()
    if cut.legs:
        part = _trousers(mesh, part, cut.legs)
    normals = vertex_normals(mesh.vertices, mesh.faces)
    off = _THICK[part] + cut.loose * _LOOSE[part]
    hem = (part == 2) & (mesh.vertices[:, 2] < mesh.heads["upperleg01.L"][2] - 0.10)
    off = np.where(hem, 0.026 + 0.022 * cut.loose, off)
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
    tinted = np.clip(colours, 0, 1).astype(np.float32)
    dressed = Outfit(worn + push, tinted, mesh.faces, mesh.weights, mesh.indices)
    return _with_skirt(mesh, dressed, cut, palette[2]) if cut.skirt else dressed


def _trousers(mesh: BodyMesh, part: np.ndarray, legs: float) -> np.ndarray:
    """Parts with the shorts' cloth down to a share of the shank."""
    knee, ankle = mesh.heads["lowerleg01.L"][2], mesh.heads["foot.L"][2]
    low = knee - legs * (knee - ankle)
    leg = np.array([bone.startswith(("upperleg", "lowerleg")) for bone in _strongest_bone(mesh)])
    return np.where(leg & (part == 0) & (mesh.vertices[:, 2] > low), 2, part)


def _with_skirt(mesh: BodyMesh, dressed: Outfit, cut: Cut, colour: np.ndarray) -> Outfit:
    points, faces, weights, indices = skirt(
        mesh, dressed.vertices, cut.skirt, 0.02 + 0.08 * cut.loose
    )
    tint = np.tile(colour.astype(np.float32), (len(faces), 1))
    return Outfit(
        np.vstack([dressed.vertices, points]),
        np.vstack([dressed.colours, tint]),
        np.vstack([dressed.faces, faces + len(dressed.vertices)]).astype(np.int32),
        np.vstack([dressed.weights, weights]),
        np.vstack([dressed.indices, indices]),
    )
