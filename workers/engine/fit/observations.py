"""What the pose networks saw, arranged for the fit: pixels, weights, and where landmarks sit.

A landmark is not a joint centre: networks are trained on clicks on the surface. Each network's mean
offset is a constant (`offsets.py`); what is left of it for one person is an unknown of the fit.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from models.contract.skeleton import (
    ARM_AND_LEG,
    CANONICAL_BODY,
    LANDMARKS,
    counterpart,
    part_of,
    side_of,
)
from models.contract.tracks import FloatArray, IntArray, JointTrack
from workers.engine.fit.offsets import DEPTHS, NUISANCE, LandmarkErrors
from workers.engine.fit.skeleton import POINTS, VECTORS, point, point_maps, vector
from workers.engine.lift import Lifted
from workers.engine.proportions import LENGTHS

SHARED: tuple[str, ...] = (*LENGTHS, *NUISANCE, "pitch", "roll", "log_focal", "floor")
"""Unknowns shared by all instants: body lengths and landmark offsets (metres), camera."""

BODY_SHARED = len(LENGTHS) + len(NUISANCE)
"""How many of `SHARED` enter the points linearly."""

_MARKED_BY = {name: (name,) for name in POINTS} | {"head": CANONICAL_BODY.both("ear")}
"""The joints of the canonical body whose landmarks mark a point of the fit."""

DEPTH_PAIRS: tuple[tuple[str, str], ...] = tuple(
    (counterpart(a, left_handed=False), counterpart(b, left_handed=False)) for a, b in DEPTHS
)
"""Segments whose depth the network's own 3D states, weakly."""


@dataclass(frozen=True, slots=True)
class LinearMap:
    """``value = (constant + sum_i shared_i * per_shared[i]) @ vectors``.

    Attributes
    ----------
    constant : ndarray, shape (M, 18)
    per_shared : ndarray, shape (BODY_SHARED, M, 18)
    """

    constant: FloatArray
    per_shared: FloatArray

    def at(self, shared: FloatArray) -> FloatArray:
        """Return the (..., M, 18) map for given lengths and offsets (..., G), metres."""
        own = shared[..., :BODY_SHARED]
        return np.asarray(self.constant + np.tensordot(own, self.per_shared, axes=1))

    def take(self, rows: FloatArray) -> LinearMap:
        """Return linear combinations of the rows, weights of shape (N, M)."""
        return LinearMap(rows @ self.constant, rows @ self.per_shared)


@lru_cache(maxsize=1)
def points_map() -> LinearMap:
    """Return the map to the 17 points of the body; read only."""
    constant, per_length = point_maps()
    padding = np.zeros((len(NUISANCE), *constant.shape))
    per_shared = np.concatenate([per_length, padding])
    constant.setflags(write=False)
    per_shared.setflags(write=False)
    return LinearMap(constant, per_shared)


@dataclass(frozen=True, slots=True)
class Observations:
    """Measurements at the instants of the fit.

    Attributes
    ----------
    time_s : ndarray, shape (T,)
    uv : ndarray, shape (T, M, 2)
        Pixels of the (mirrored) upright frame; NaN where not seen.
    sd : ndarray, shape (T, M)
        Standard deviation as a share of standing height.
    to_landmarks : LinearMap
        From segment vectors to the M landmarks.
    point_of_row : tuple of int
        Which body point each of the M landmarks marks.
    forward : ndarray, shape (M,)
        How far each landmark lies in front of its joint (square to trunk and pelvis), metres.
    vertical : ndarray, shape (M,)
        How far each landmark lies above its joint, metres.
    in_plane : ndarray, shape (M, 18)
        How far each landmark lies along the picture of each segment vector, metres.
    depth, depth_sd : ndarray, shape (T, P) and (P,)
        Depth of the second over the first point of `DEPTH_PAIRS` by the network's own 3D, metres.
    """

    time_s: FloatArray
    uv: FloatArray
    sd: FloatArray
    to_landmarks: LinearMap
    point_of_row: tuple[int, ...]
    forward: FloatArray
    vertical: FloatArray
    in_plane: FloatArray
    depth: FloatArray
    depth_sd: FloatArray


def observe(
    track: JointTrack,
    rows: IntArray,
    mirrored: bool,
    stature_m: float,
    landmarks: LandmarkErrors,
    lifted: Lifted | None = None,
) -> Observations:
    """Collect the measurements of some frames.

    Parameters
    ----------
    track : JointTrack
    rows : ndarray of int
        Positions in the track.
    mirrored : bool
        True for a left-hander: the picture is mirrored.
    stature_m : float
        Scales the mean landmark offsets.
    landmarks : LandmarkErrors
    lifted : Lifted, optional
        States the depths; without it, the network's own 3D does.
    """
    networks = dict(track.sources) or {
        "fused": np.concatenate([track.xy_raw, track.confidence[..., None]], axis=-1)
    }
    uv, sd, maps, marks = [], [], [], []
    forward, vertical, in_plane = [], [], []
    base = points_map()
    for network, values in networks.items():
        seen = np.array(values[rows], dtype=float)
        if mirrored:
            seen[..., 0] = track.width - seen[..., 0]
        for name in POINTS:
            columns = [_landmark(joint, mirrored) for joint in _MARKED_BY[name]]
            cell = seen[:, columns].mean(axis=1)
            if not np.isfinite(cell).any():
                continue
            confidence = np.clip(np.nan_to_num(cell[:, 2]), 0.0, 1.0)
            uv.append(cell[:, :2])
            sd.append(landmarks.sd[part_of(name)] * (1.0 + 3.0 * (1.0 - confidence) ** 2))
            marks.append(point(name))
            shares = landmarks.mean_offset(network, part_of(name))
            forward.append(shares.get("forward", 0.0) * stature_m)
            vertical.append(shares.get("vertical", 0.0) * stature_m)
            in_plane.append(_in_plane(name, shares) * stature_m)
            maps.append(_landmark_map(base, shares, name, stature_m))
    to_landmarks = LinearMap(
        np.stack([m.constant for m in maps]), np.stack([m.per_shared for m in maps], axis=1)
    )
    world = np.asarray(track.world[rows], dtype=float)
    calibrated = any("blazepose" in name for name in networks) or not track.sources
    if lifted is None:
        depth, spread = _depths(world, mirrored, stature_m, calibrated, landmarks)
    else:
        depth, spread = _lifted_depths(lifted, rows, stature_m)
    return Observations(
        np.asarray(track.time_s[rows], dtype=float),
        np.stack(uv, 1),
        np.stack(sd, 1),
        to_landmarks,
        tuple(marks),
        np.array(forward),
        np.array(vertical),
        np.stack(in_plane),
        depth,
        spread,
    )


def _depths(
    world: FloatArray,
    mirrored: bool,
    stature_m: float,
    calibrated: bool,
    landmarks: LandmarkErrors,
) -> tuple[FloatArray, FloatArray]:
    """Return the depths of `DEPTH_PAIRS`, (T, P), and their sd, (P,), metres.

    Joints of an unknown origin are taken at their word; only the sd stays.
    """
    depth = np.zeros((len(world), len(DEPTH_PAIRS)))
    spread = np.zeros(len(DEPTH_PAIRS))
    for i, pair in enumerate(DEPTH_PAIRS):
        a, b = (counterpart(name, left_handed=mirrored) for name in pair)
        sign = 1.0
        if (a, b) not in landmarks.depth:
            a, b, sign = b, a, -1.0
        gain, offset, spread[i] = landmarks.depth[a, b]
        if not calibrated:
            gain, offset = 1.0 / stature_m, 0.0
        first, second = LANDMARKS.rows((a, b))
        depth[:, i] = sign * (offset + gain * (world[:, second, 2] - world[:, first, 2]))
    return depth * stature_m, spread * stature_m


def _lifted_depths(
    lifted: Lifted, rows: IntArray, stature_m: float
) -> tuple[FloatArray, FloatArray]:
    """The same by the learned lift, with the spread that it states; NaN where it knows nothing."""
    depth = np.full((len(rows), len(DEPTH_PAIRS)), np.nan)
    spread = np.zeros(len(DEPTH_PAIRS))
    place = np.clip(np.searchsorted(lifted.rows, rows), 0, len(lifted.rows) - 1)
    known = lifted.rows[place] == rows
    for i, (a, b) in enumerate(DEPTH_PAIRS):
        first, second = CANONICAL_BODY.rows((a, b))
        away = lifted.relative[place, second, 1] - lifted.relative[place, first, 1]
        depth[known, i] = away[known]
        both = np.hypot(lifted.sd[place, first, 1], lifted.sd[place, second, 1])
        spread[i] = float(np.median(both))
    return depth * stature_m, spread * stature_m


def _landmark(joint: str, mirrored: bool) -> int:
    """Return the landmark of a joint of the canonical body."""
    return LANDMARKS.index(counterpart(joint, left_handed=mirrored))


def _landmark_map(
    base: LinearMap, shares: Mapping[str, float], name: str, stature_m: float
) -> LinearMap:
    """Place one network's landmark on the body: the point, a mean offset, its nuisance unknowns."""
    index = point(name)
    constant = base.constant[index].copy()
    constant[vector("shake")] = 1.0
    per_shared = base.per_shared[:, index].copy()
    kind = part_of(name)
    for axis, directions in _axes(kind, side_of(name)).items():
        key = f"{kind}_{axis}"
        for direction, factor in directions.items():
            constant[vector(direction)] += shares.get(axis, 0.0) * stature_m * factor
            if key in NUISANCE:
                per_shared[len(LENGTHS) + NUISANCE.index(key), vector(direction)] += factor
    return LinearMap(constant, per_shared)


def _in_plane(name: str, shares: Mapping[str, float]) -> FloatArray:
    """Return the share along the picture of each segment vector, shape (18,)."""
    out = np.zeros(len(VECTORS))
    for axis, directions in _axes(part_of(name), side_of(name)).items():
        for direction in directions:
            out[vector(direction)] += shares.get(f"{axis}_plane", 0.0)
    return out


def _axes(kind: str, side: str | None) -> dict[str, dict[str, float]]:
    """Return the directions a landmark may be off in, as sums of segment vectors."""
    outward = 1.0 if side in ARM_AND_LEG[0] else -1.0
    # The trunk vector is in metres; 0.48 m is its usual length, close enough for a small offset.
    up = {"trunk": 1.0 / 0.48}
    foot = {f"{side}_toe": 0.87, f"{side}_heel": -0.24}
    match kind:
        case "hip":
            return {
                "out": {"pelvis": outward},
                "up": up,
                "distal": {f"{side}_thigh": 1.0},
                "shank": {f"{side}_shank": 1.0},
                "shoulder": {"shoulders": outward},
            }
        case "shoulder":
            return {"out": {"shoulders": outward}, "up": up, "distal": {f"{side}_upper_arm": 1.0}}
        case "knee":
            return {"along": {f"{side}_thigh": 1.0}, "distal": {f"{side}_shank": 1.0}}
        case "ankle":
            return {"along": {f"{side}_shank": 1.0}, "foot": foot}
        case "elbow":
            return {"along": {f"{side}_upper_arm": 1.0}, "distal": {f"{side}_forearm": 1.0}}
        case "wrist":
            return {"along": {f"{side}_forearm": 1.0}}
        case "heel":
            return {"foot": foot, "shank": {f"{side}_shank": 1.0}}
        case "toe":
            return {"foot": foot, "shank": {f"{side}_shank": 1.0}}
        case _:
            return {}
