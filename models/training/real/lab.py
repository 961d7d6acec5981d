"""The laboratory films: one man with markers before four calibrated cameras.

Source: calibrated demonstration recording, BSD-3-Clause, copyright 2022 perfanalytics. Joint
centres: hips by Harrington 2007 (doi 10.1016/j.jbiomech.2006.02.003), knees and ankles midway
between their markers, shoulders below the acromion markers. One man, no serve; centres are good to
about 1 cm (0.6 % of stature).
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

Array = np.ndarray[Any, np.dtype[Any]]

FRAMES = (0, 50)
"""Frames whose joint centres are known."""
_STAND_INS = {"knee": ("KNL", "KNM"), "ankle": ("ANKl", "ANKm", "ANKa"), "elbow": ("ELa",)}
"""Markers that stand in for a centre which is not known, for directions only."""


@dataclass(frozen=True)
class LabCamera:
    """A camera: ``x = R X + T`` (right, down, ahead; metres), pixels by K with distortion."""

    name: str
    K: Array
    distortion: Array
    R: Array
    T: Array

    def project(self, point: Array) -> tuple[Array, float]:
        """Return the pixel of a point, and metres per pixel at its distance."""
        x, y, z = self.R @ point + self.T
        a, b = x / z, y / z
        k1, k2, p1, p2 = self.distortion
        r2 = a * a + b * b
        radial = 1.0 + k1 * r2 + k2 * r2 * r2
        bent = np.array(
            [
                a * radial + 2 * p1 * a * b + p2 * (r2 + 2 * a * a),
                b * radial + p1 * (r2 + 2 * b * b) + 2 * p2 * a * b,
            ]
        )
        pixel = np.array([self.K[0, 0], self.K[1, 1]]) * bent + self.K[:2, 2]
        return pixel, float(z / self.K[0, 0])

    def level(self) -> Array:
        """Return the rotation from the laboratory to x right, y away, z up of this camera."""
        away = self.R[2] * np.array([1.0, 1.0, 0.0])
        away = away / np.linalg.norm(away)
        return np.stack([np.cross(away, [0.0, 0.0, 1.0]), away, [0.0, 0.0, 1.0]])

    def upright(self) -> Array:
        """Return the rotation from this camera's axes to those of a level one (x, down, away)."""
        right, away, up = self.level()
        return np.asarray(np.stack([right, -up, away]) @ self.R.T)


@dataclass(frozen=True)
class Posture:
    """Joint centres and markers of one frame, metres, z up."""

    frame: int
    centres: Mapping[str, Array]
    markers: Mapping[str, Array]

    def near(self, name: str) -> Array | None:
        """Return a joint's centre, or a marker on it."""
        if name in self.centres:
            return self.centres[name]
        side, kind = name.split("_")
        for end in _STAND_INS.get(kind, ()):
            found = self.markers.get(side[0].upper() + end)
            if found is not None:
                return found
        return None

    def directions(self, joint: str) -> dict[str, Array]:
        """Return the unit directions in which a landmark of a joint may be off, each (3,).

        Named as in `workers.engine.fit.offsets`; those that need an unknown joint are left out.
        """
        side, kind = joint.split("_")
        c = self.centres
        outward = 1.0 if side == "left" else -1.0
        up = _unit(c["left_shoulder"] + c["right_shoulder"] - c["left_hip"] - c["right_hip"])
        pelvis, girdle = (_unit(c[f"left_{k}"] - c[f"right_{k}"]) for k in ("hip", "shoulder"))
        forward = _unit(np.cross(pelvis, up))
        out = {
            "up": up,
            "out": outward * (girdle if kind == "shoulder" else pelvis),
            "shoulder": outward * girdle,
            "forward": forward,
            "vertical": np.array([0.0, 0.0, 1.0]),
            "foot": _unit(forward * np.array([1.0, 1.0, 0.0])),
        }
        bones = {
            "hip": {"distal": ("hip", "knee"), "shank": ("knee", "ankle")},
            "shoulder": {"distal": ("shoulder", "elbow")},
            "knee": {"along": ("hip", "knee"), "distal": ("knee", "ankle")},
            "ankle": {"along": ("knee", "ankle")},
            "elbow": {"along": ("shoulder", "elbow"), "distal": ("elbow", "wrist")},
        }
        for axis, (first, second) in bones.get(kind, {}).items():
            a, b = self.near(f"{side}_{first}"), self.near(f"{side}_{second}")
            if a is not None and b is not None:
                out[axis] = _unit(b - a)
        return out


@dataclass(frozen=True)
class Laboratory:
    """Cameras, postures and the man's stature."""

    stature_m: float
    size: tuple[int, int]
    cameras: tuple[LabCamera, ...]
    postures: tuple[Posture, ...]


def read_laboratory(path: Path) -> Laboratory:
    """Return the laboratory of a ``truth.json``."""
    document = json.loads(path.read_text("utf-8"))
    cameras = tuple(
        LabCamera(name, *(np.asarray(c[key], dtype=float) for key in ("K", "distortion", "R", "T")))
        for name, c in document["cameras"].items()
    )
    postures = tuple(
        Posture(int(frame), _points(known["joint_centres"]), _points(known["markers"]))
        for frame, known in document["frames"].items()
    )
    size = (int(document["width"]), int(document["height"]))
    return Laboratory(float(document["stature_m"]), size, cameras, postures)


def _points(named: Mapping[str, Any]) -> dict[str, Array]:
    return {name: np.asarray(value, dtype=float) for name, value in named.items()}


def _unit(v: Array) -> Array:
    return np.asarray(v / np.linalg.norm(v))
