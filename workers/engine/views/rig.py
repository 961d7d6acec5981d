"""Two cameras about one body: where they stand, and how well marks and bones agree with that.

Frame: the levelled frame of the first camera (`workers.engine.camera`): x right, y away, z up,
metres. The unknowns are few; each mark's place follows from its two rays.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.contract.tracks import FloatArray, IntArray
from workers.engine.camera import rotation
from workers.engine.fit.skeleton import POINTS
from workers.engine.views.seen import PAIRS, SeenBody

NAMES = (
    *("pitch_one", "roll_one", "focal_one", "yaw", "pitch_two", "roll_two", "focal_two"),
    *("x", "y", "z", "offset"),
)
"""Unknowns: radians, logarithms over a usual focal length, metres, seconds."""

BONES: tuple[tuple[str, str, str], ...] = (
    ("front_hip", "rear_hip", "pelvis"),
    ("tossing_shoulder", "hitting_shoulder", "shoulders"),
    *((f"{s}_shoulder", f"{s}_elbow", "upper_arm") for s in ("tossing", "hitting")),
    *((f"{s}_elbow", f"{s}_wrist", "forearm") for s in ("tossing", "hitting")),
    *((f"{s}_hip", f"{s}_knee", "thigh") for s in ("front", "rear")),
    *((f"{s}_knee", f"{s}_ankle", "shank") for s in ("front", "rear")),
)
"""Segments of constant length: ends and the length's name."""
BONE_ENDS: IntArray = np.array([(POINTS.index(a), POINTS.index(b)) for a, b, _ in BONES])
KINDS = tuple(dict.fromkeys(kind for _, _, kind in BONES))
KIND_OF: IntArray = np.array([KINDS.index(kind) for _, _, kind in BONES])


@dataclass(frozen=True, slots=True)
class Rig:
    """Both cameras; ``values`` as in `NAMES`, shape (11,)."""

    values: FloatArray

    @property
    def yaw(self) -> float:
        """How far the second camera looks to the left of the first's heading, rad."""
        return float(self.values[3])

    @property
    def offset_s(self) -> float:
        """What to add to a time of the first film for the same instant of the second, seconds."""
        return float(self.values[10])

    @property
    def place(self) -> FloatArray:
        """Where the second camera stands, shape (3,), metres."""
        return self.values[7:10]

    def turns(self) -> tuple[FloatArray, FloatArray]:
        """Return the rotations to both cameras' axes (right, down, away), each (3, 3)."""
        c, s = np.cos(self.yaw), np.sin(self.yaw)
        about = np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]])
        one = rotation(float(self.values[0]), float(self.values[1]))
        return one, np.asarray(rotation(float(self.values[4]), float(self.values[5])) @ about)

    def rays(
        self, one: SeenBody, two: SeenBody, uv_one: FloatArray, uv_two: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Return unit directions (..., 3) of marks (..., 2) of both pictures."""
        out = []
        for body, uv, turn, focal in zip(
            (one, two), (uv_one, uv_two), self.turns(), self.values[[2, 6]], strict=True
        ):
            f = body.focal_px * np.exp(focal)
            way = np.stack([uv[..., 0] / f, -uv[..., 1] / f, np.ones(uv.shape[:-1])], axis=-1)
            way = way @ turn
            out.append(way / np.linalg.norm(way, axis=-1, keepdims=True))
        return out[0], out[1]


@dataclass(frozen=True, slots=True)
class Crossed:
    """Where the rays of both cameras pass each other.

    Attributes
    ----------
    points : ndarray, shape (N, 17, 3)
        Metres.
    miss : ndarray, shape (N, 17)
        How far the rays miss each other over its standard deviation.
    ranges : ndarray, shape (2, N, 17)
        Distance from each camera, metres; negative = behind it.
    """

    points: FloatArray
    miss: FloatArray
    ranges: FloatArray


Marks = tuple[FloatArray, FloatArray]
"""Pixels (N, 17, 2) and standard deviations (N, 17) of marks, as `SeenBody.at` gives them."""


def cross(rig: Rig, one: SeenBody, two: SeenBody, in_one: Marks, in_two: Marks) -> Crossed:
    """Pass rays through the marks of the same instants of both pictures."""
    (uv_one, off_one), (uv_two, off_two) = in_one, in_two
    a, b = rig.rays(one, two, uv_one, uv_two)
    base = rig.place
    cosine = np.sum(a * b, axis=-1)
    sine2 = np.maximum(1.0 - cosine**2, 1e-4)
    along_a, along_b = a @ base, b @ base
    range_a = (along_a - cosine * along_b) / sine2
    range_b = (cosine * along_a - along_b) / sine2
    on_a, on_b = range_a[..., None] * a, base + range_b[..., None] * b
    normal = np.cross(a, b) / np.sqrt(sine2)[..., None]
    gap = normal @ base
    sd_a = np.abs(range_a) * off_one / (one.focal_px * np.exp(rig.values[2]))
    sd_b = np.abs(range_b) * off_two / (two.focal_px * np.exp(rig.values[6]))
    share = (sd_a**2 / (sd_a**2 + sd_b**2))[..., None]
    return Crossed(
        on_a * (1.0 - share) + on_b * share,
        gap / np.hypot(sd_a, sd_b),
        np.stack([range_a, range_b]),
    )


def bone_lengths(points: FloatArray) -> FloatArray:
    """Return the lengths of `BONES` of points (N, 17, 3), shape (N, B), metres."""
    line = points[:, BONE_ENDS[:, 0]] - points[:, BONE_ENDS[:, 1]]
    return np.asarray(np.linalg.norm(line, axis=-1))


def depths(rig: Rig, points: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the depths of `DEPTH_PAIRS` in both pictures, each (N, P), metres."""
    out = []
    for turn in rig.turns():
        away = points @ turn[2]
        out.append(np.stack([away[:, b] - away[:, a] for a, b in PAIRS], axis=-1))
    return out[0], out[1]
