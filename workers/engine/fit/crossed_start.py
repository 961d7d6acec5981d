"""Where the fit starts when two films see the body: where the rays of both cross."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from models.contract.tracks import FloatArray
from workers.engine.camera import LevelCamera
from workers.engine.fit.lifted_start import CHAIN
from workers.engine.fit.observations import points_map
from workers.engine.fit.others import OtherCamera
from workers.engine.fit.skeleton import FREE, POINTS, VECTORS
from workers.engine.fit.state import FitState


def crossed_directions(points: FloatArray) -> dict[str, FloatArray]:
    """Return unit directions (T, 3) of all segments of points (T, 17, 3), by `VECTORS`."""
    shoulders, hips = (POINTS.middle(points, part) for part in ("shoulder", "hip"))
    out = {
        "trunk": shoulders - hips,
        "pelvis": POINTS.at(points, "front_hip") - POINTS.at(points, "rear_hip"),
        "shoulders": POINTS.at(points, "tossing_shoulder") - POINTS.at(points, "hitting_shoulder"),
        "head": POINTS.at(points, "head") - shoulders,
    }
    for name in VECTORS[FREE:]:
        side, _, segment = name.partition("_")
        if segment in CHAIN:
            first, second = CHAIN[segment]
            out[name] = POINTS.at(points, f"{side}_{second}") - POINTS.at(points, f"{side}_{first}")
    return {
        name: way / np.maximum(np.linalg.norm(way, axis=-1, keepdims=True), 1e-9)
        for name, way in out.items()
    }


def about_crossed(
    start: FitState, crossed: Sequence[tuple[LevelCamera, OtherCamera, FloatArray]]
) -> FitState:
    """Return a start with its hips where the rays cross, and with the other cameras."""
    vectors = start.vectors.copy()
    vectors[:, 0] = POINTS.middle(crossed[0][2], "hip")
    lowest = (points_map().at(start.body) @ vectors)[:, POINTS.pair("toe"), 2].min(axis=1)
    camera = replace(start.camera, floor_m=float(np.nanmedian(lowest)) - 0.02)
    return FitState(vectors, start.body, camera, tuple(other for _, other, _ in crossed))
