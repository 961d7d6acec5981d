"""Where the fit starts: in-plane directions from pixels, depth from the network's own 3D."""

from __future__ import annotations

import numpy as np

from models.contract.tracks import FloatArray
from workers.engine import camera as cam
from workers.engine.camera import LevelCamera
from workers.engine.fit.depth_signs import Guess, depth_directions
from workers.engine.fit.observations import BODY_SHARED, DEPTH_PAIRS, Observations, points_map
from workers.engine.fit.phases import Phases
from workers.engine.fit.skeleton import FREE, POINTS, VECTORS, point, vector
from workers.engine.fit.state import FitState
from workers.engine.proportions import LENGTHS, Proportions


def typical_focal_px(width: int, height: int) -> float:
    """Return a usual focal length for a picture of this size, pixels."""
    return cam.TYPICAL_FOCAL * float(min(width, height))


def merge(seen: Observations) -> FloatArray:
    """Return one pixel position per body point, weighted over networks, shape (T, 17, 2).

    Gaps are filled in time; a point that was never seen stays NaN.
    """
    names = seen.point_of_row
    uv = np.full((len(seen.time_s), len(POINTS), 2), np.nan)
    for j in range(len(POINTS)):
        rows = [m for m, p in enumerate(names) if p == j]
        if not rows:
            continue
        value = seen.uv[:, rows]
        weight = np.where(np.isfinite(value[..., 0]), 1.0 / seen.sd[:, rows] ** 2, 0.0)
        total = weight.sum(axis=1)
        mean = (
            np.einsum("tm,tmc->tc", weight, np.nan_to_num(value))
            / np.maximum(total, 1e-12)[:, None]
        )
        good = total > 0
        for c in range(2):
            uv[:, j, c] = np.interp(seen.time_s, seen.time_s[good], mean[good, c])
    return uv


def stature_px(uv: FloatArray, stature_share: dict[str, float]) -> float:
    """Estimate how many pixels tall the person would stand, from the longest views of segments."""
    estimates = []
    for (a, b), share in (
        (("hip", "knee"), stature_share["thigh"]),
        (("knee", "ankle"), stature_share["shank"]),
        (("shoulder", "elbow"), stature_share["upper_arm"]),
    ):
        for first, second in zip(POINTS.pair(a), POINTS.pair(b), strict=True):
            d = np.linalg.norm(uv[:, first] - uv[:, second], axis=-1)
            if np.isfinite(d).any():
                estimates.append(float(np.nanpercentile(d, 85)) / share)
    trunk = np.linalg.norm(POINTS.middle(uv, "shoulder") - POINTS.middle(uv, "hip"), axis=-1)
    estimates.append(float(np.nanpercentile(trunk, 85)) / stature_share["trunk"])
    return float(np.median(estimates))


def start(
    seen: Observations,
    proportions: Proportions,
    stature_m: float,
    camera: LevelCamera,
    phases: Phases,
    *,
    guess: Guess = Guess.PLAIN,
    known: dict[str, FloatArray] | None = None,
) -> FitState:
    """Return a first guess of the whole window.

    ``known`` directions of all segments (`lifted_directions`) are taken as they are; without them,
    see `depth_directions` for ``guess``.
    """
    uv = merge(seen)
    shares = dict(zip(LENGTHS, proportions.mean, strict=True))
    tall = stature_px(uv, shares)
    metres_per_px = stature_m / tall
    distance = camera.focal_px * metres_per_px
    lengths = {name: float(share * stature_m) for name, share in shares.items()}
    ways = known or depth_directions(seen, uv, metres_per_px, lengths, phases, guess=guess)
    vectors = np.zeros((len(seen.time_s), len(VECTORS), 3))
    hips = POINTS.middle(uv, "hip")
    centre = np.array(camera.centre_px)
    vectors[:, 0, 0] = (hips[:, 0] - centre[0]) * metres_per_px
    vectors[:, 0, 1] = distance
    vectors[:, 0, 2] = -(hips[:, 1] - centre[1]) * metres_per_px
    vectors[:, 1] = ways["trunk"] * lengths["trunk"]
    for name in VECTORS[FREE:]:
        if name in ways:
            vectors[:, vector(name)] = ways[name]
    if known is None:
        _set_ends(vectors, seen, uv, metres_per_px, ways["trunk"])
    unit = vectors[:, FREE:]
    unit[~np.isfinite(unit).all(axis=-1)] = (0.0, 0.0, -1.0)
    unit += np.array([0.0, 1e-3, -1e-3])
    unit /= np.linalg.norm(unit, axis=-1, keepdims=True)
    body = np.zeros(BODY_SHARED)
    body[: len(LENGTHS)] = proportions.mean * stature_m
    state = FitState(vectors, body, camera)
    feet = points_map().at(body) @ vectors
    lowest = feet[:, POINTS.pair("toe"), 2].min(axis=1)
    return (
        FitState(
            vectors,
            body,
            LevelCamera(
                camera.focal_px,
                camera.centre_px,
                camera.pitch,
                camera.roll,
                float(np.median(lowest)) - 0.02,
            ),
        )
        if np.isfinite(lowest).all()
        else state
    )


def _set_ends(
    vectors: FloatArray,
    seen: Observations,
    uv: FloatArray,
    metres_per_px: float,
    trunk: FloatArray,
) -> None:
    """Set the directions of the feet and the head, which have no signs to choose."""
    depth = {pair: seen.depth[:, i] for i, pair in enumerate(DEPTH_PAIRS)}
    for side in ("front", "rear"):
        away = depth[f"{side}_heel", f"{side}_toe"]
        for name, share in (("toe", 0.8), ("heel", -0.2)):
            d = (uv[:, point(f"{side}_{name}")] - uv[:, point(f"{side}_ankle")]) * metres_per_px
            vectors[:, vector(f"{side}_{name}")] = np.stack([d[:, 0], share * away, -d[:, 1]], -1)
    vectors[:, vector("head")] = trunk
