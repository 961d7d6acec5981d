"""Where the pose networks put landmarks and depths, from rendered clips with known joint centres.

``python -m models.training.rendered.landmark_offsets TRACKS TRUTHS`` prints the tables of
``workers/engine/fit/offsets.py``: TRACKS holds ``NNN-*.npz`` (what the pose stage saw), TRUTHS the
``NNN.json`` of the same clips. Offsets are least squares of the picture error, in shares of
standing height, on the body's own axes (see that module for their names); depths are the
network's depth of
a segment regressed on the true one, inverted.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from models.contract.skeleton import ANATOMICAL_BODY, LANDMARKS
from models.contract.tracks import JointTrack

Array = NDArray[np.float64]

AXES: dict[str, tuple[str, ...]] = {
    "shoulder": ("out", "up", "distal", "up_plane"),
    "elbow": ("along", "distal", "along_plane", "distal_plane"),
    "wrist": ("along",),
    "hip": ("out", "up", "forward", "distal", "shank", "shoulder", "distal_plane", "vertical"),
    "knee": ("along", "distal", "along_plane"),
    "ankle": ("along", "foot"),
    "heel": ("shank", "foot"),
    "toe": ("shank", "foot"),
}
SEGMENTS = (
    ("right_hip", "left_hip"),
    ("right_shoulder", "left_shoulder"),
    ("hip", "shoulder"),
    ("shoulder", "elbow"),
    ("elbow", "wrist"),
    ("hip", "knee"),
    ("knee", "ankle"),
    ("heel", "toe"),
)
RIDGE = 0.5
LARGEST = 0.06
"""Errors beyond this share of standing height are lost landmarks, not offsets."""


def unit(v: Array) -> Array:
    """Vectors (..., 3) scaled to length one."""
    return np.asarray(v / np.maximum(np.linalg.norm(v, axis=-1, keepdims=True), 1e-9))


class Clip:
    """One clip: true joints, camera, and what the networks saw, at about 15 instants a second."""

    def __init__(self, track: JointTrack, truth: dict[str, Any]) -> None:
        step = max(1, round(truth["fps"] / 15))
        events = truth["serves"][0]["event_frames"]
        seen = (track.frame_index >= events["start"]) & (track.frame_index <= events["finish"])
        self.rows = np.flatnonzero(seen)[::step]
        frames = track.frame_index[self.rows]
        joints = np.asarray(truth["joints3d"], dtype=float)[frames]
        self.joints = {n: joints[:, i] for i, n in enumerate(truth["joint_names"])}
        camera = truth["camera"]
        self.K, self.R, self.t = (np.asarray(camera[k], dtype=float) for k in ("K", "R", "t"))
        shake = truth.get("camera_jitter_px")
        self.shake = np.asarray(shake, dtype=float)[frames] if shake else np.zeros((len(frames), 2))
        self.height = float(truth["body_height_m"])
        self.track = track

    def directions(self, kind: str, side: str) -> dict[str, Array]:
        """Unit directions of the body's axes at one joint, each (T, 3)."""
        p = self.joints
        outward = 1.0 if side == "left" else -1.0
        up = unit(p["left_shoulder"] + p["right_shoulder"] - p["left_hip"] - p["right_hip"])
        pelvis = unit(p["left_hip"] - p["right_hip"])
        shoulders = unit(p["left_shoulder"] - p["right_shoulder"])

        def bone(a: str, b: str) -> Array:
            return unit(p[f"{side}_{b}"] - p[f"{side}_{a}"])

        before = {"elbow": ("shoulder", "elbow"), "wrist": ("elbow", "wrist")}
        before |= {"knee": ("hip", "knee"), "ankle": ("knee", "ankle")}
        after = {"shoulder": ("shoulder", "elbow"), "elbow": ("elbow", "wrist")}
        after |= {"hip": ("hip", "knee"), "knee": ("knee", "ankle")}
        out = {
            "up": up,
            "out": outward * (shoulders if kind == "shoulder" else pelvis),
            "shoulder": outward * shoulders,
            "forward": unit(np.cross(pelvis, up)),
            "shank": bone("knee", "ankle"),
            "foot": bone("heel", "toe"),
            "vertical": np.broadcast_to(np.array([0.0, 0.0, 1.0]), up.shape),
        }
        if kind in before:
            out["along"] = bone(*before[kind])
        if kind in after:
            out["distal"] = bone(*after[kind])
        return out

    def system(self, network: str, kind: str, side: str) -> tuple[Array, Array]:
        """Rows and right-hand side of one joint's offsets."""
        name = f"{side}_{kind}"
        cam = self.joints[name] @ self.R.T + self.t
        true = cam[:, :2] / cam[:, 2:] * self.K[0, 0] + self.K[:2, 2] + self.shake
        column = LANDMARKS.index(name)
        seen = np.asarray(self.track.sources[network][self.rows, column, :2], dtype=float)
        error = (seen - true) * cam[:, 2:] / self.K[0, 0] / self.height
        columns = []
        for axis in AXES[kind]:
            direction = self.directions(kind, side)[axis.removesuffix("_plane")]
            flat = (direction @ self.R.T)[:, :2]
            if axis.endswith("_plane"):
                flat = flat / np.maximum(np.linalg.norm(flat, axis=1, keepdims=True), 0.15)
            columns.append(flat)
        good = np.isfinite(error).all(axis=1) & (np.abs(error).max(axis=1) < LARGEST)
        rows = np.stack(columns, axis=-1)[good].reshape(-1, len(columns))
        return rows, error[good].reshape(-1)

    def depths(self, a: str, b: str) -> tuple[Array, Array]:
        """True depth of a segment, share of standing height, and the network's, metres."""
        true = (self.joints[b] - self.joints[a]) @ self.R[2] / self.height
        first, second = LANDMARKS.rows((a, b))
        world = self.track.world[self.rows]
        seen = np.asarray(world[:, second, 2] - world[:, first, 2], dtype=float)
        good = np.isfinite(seen)
        return true[good], seen[good]


def offsets(clips: list[Clip], network: str, kind: str) -> dict[str, float] | None:
    """Mean offsets of one landmark of one network; None where it has no such landmark."""
    parts = [c.system(network, kind, side) for c in clips for side in ("left", "right")]
    rows = np.concatenate([a for a, _ in parts])
    if not len(rows):
        return None
    right = np.concatenate([b for _, b in parts])
    size = len(AXES[kind])
    values = np.linalg.solve(rows.T @ rows + RIDGE * np.eye(size), rows.T @ right)
    return {axis: round(float(v), 4) for axis, v in zip(AXES[kind], values, strict=True)}


def depth(clips: list[Clip], a: str, b: str) -> tuple[float, float, float]:
    """Gain per metre, offset and sd of a segment's depth; sides pooled where none is named."""
    sided = "_" in a
    pairs = (
        [(a, b)]
        if sided
        else list(zip(ANATOMICAL_BODY.both(a), ANATOMICAL_BODY.both(b), strict=True))
    )
    parts = [c.depths(*pair) for c in clips for pair in pairs]
    true, seen = (np.concatenate([p[i] for p in parts]) for i in (0, 1))
    slope, shift = np.polyfit(true, seen, 1)
    spread = float(np.std(seen - slope * true - shift))
    return (
        round(float(1 / slope), 2),
        round(float(-shift / slope), 3),
        round(float(spread / slope), 3),
    )


def main() -> int:
    """Command line of this module."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("tracks", type=Path)
    parser.add_argument("truths", type=Path)
    arguments = parser.parse_args()
    clips = []
    for path in sorted(arguments.truths.glob("*.json")):
        truth = json.loads(path.read_text("utf-8"))
        kept = sorted(arguments.tracks.glob(f"{path.stem}*.npz"))
        if truth["serves"] and kept:
            clips.append(Clip(JointTrack.from_npz(kept[0].read_bytes()), truth))
    for network in clips[0].track.sources:
        print(network)
        for kind in AXES:
            print("   ", kind, offsets(clips, network, kind))
    for a, b in SEGMENTS:
        print(f"    ({a}, {b}): {depth(clips, a, b)}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
