"""How far a pose estimate lies from the truth in the picture, in shares of torso length."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from .dataset import load_truth
from .rotation import Array

#: joints compared; faces and toes are left out: their skin points are defined in many ways
COMPARED = tuple(
    f"{side}_{name}"
    for side in ("left", "right")
    for name in ("shoulder", "elbow", "wrist", "hip", "knee", "ankle")
)


def torso_pixels(truth: dict[str, Any]) -> float:
    """Typical torso length of a clip in pixels: mid-shoulder to mid-hip, by its largest tenth.

    The largest, because a trunk leaning to or from the camera is foreshortened.
    """
    joints, names = np.array(truth["joints2d"]), truth["joint_names"]
    middle = [
        0.5 * (joints[:, names.index(f"left_{n}")] + joints[:, names.index(f"right_{n}")])
        for n in ("shoulder", "hip")
    ]
    return float(np.quantile(np.linalg.norm(middle[0] - middle[1], axis=1), 0.9))


def errors_by_joint(truth: dict[str, Any], names: list[str], xy: Array) -> dict[str, Array]:
    """Distance of estimated from true joints, (T,) shares of torso length per joint.

    `xy` (T, J, 2) are pixels with the origin at the picture's top-left corner, NaN where unseen.
    """
    joints, known = np.array(truth["joints2d"]), truth["joint_names"]
    if len(xy) != len(joints):
        raise ValueError(f"{len(xy)} estimated frames for {len(joints)} true ones")
    scale = torso_pixels(truth)
    return {
        n: np.linalg.norm(xy[:, names.index(n)] - joints[:, known.index(n)], axis=1) / scale
        for n in COMPARED
        if n in names
    }


def error_lines(films: Path, tracks: Path) -> Iterator[str]:
    """Error of each track file and of each view, as lines of text."""
    views: dict[str, list[Array]] = {}
    for path in sorted(tracks.glob("*.npz")):
        with np.load(path) as track:
            names, xy = [str(n) for n in track["landmarks"]], np.array(track["xy"], np.float64)
        truth = load_truth(films / path.stem)
        seen = np.concatenate(list(errors_by_joint(truth, names, xy).values()))
        views.setdefault(truth["view"], []).append(seen)
        yield f"{path.stem} {truth['view']}: {_summary(seen)}"
    for view, parts in sorted(views.items()):
        yield f"{view}, {len(parts)} clips: {_summary(np.concatenate(parts))}"


def _summary(errors: Array) -> str:
    """Median and 90th percentile in percent of torso length."""
    middle, high = np.nanquantile(errors, [0.5, 0.9]) * 100
    missing = np.isnan(errors).mean() * 100
    return f"median {middle:.1f} %, 90th percentile {high:.1f} %, unseen {missing:.1f} %"
