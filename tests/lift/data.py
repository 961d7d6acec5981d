"""Examples for the lift: picture joints over half a second in, joints in space out."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
from scipy.interpolate import CubicSpline

from workers.serve.fit.offsets import mean_offset

Array = np.ndarray[Any, np.dtype[Any]]
NAMES = (
    *("nose", "left_eye", "right_eye", "left_ear", "right_ear", "left_shoulder", "right_shoulder"),
    *("left_elbow", "right_elbow", "left_wrist", "right_wrist", "left_hip", "right_hip"),
    *("left_knee", "right_knee", "left_ankle", "right_ankle", "left_heel", "right_heel"),
    *("left_toe", "right_toe"),
)
INDEX = {name: i for i, name in enumerate(NAMES)}
SWAP = [INDEX[n.replace("left", "~").replace("right", "left").replace("~", "right")] for n in NAMES]
LAGS_S = (-0.25, -0.12, -0.05, 0.0, 0.05, 0.12, 0.25)
FPS = 60.0
NOW = LAGS_S.index(0.0)


def read_motion(path: Path) -> tuple[Array, float] | None:
    """Joints (T, 21, 3) of a right-hander at 60 Hz, and standing height; None if too short."""
    document = json.loads(path.read_text("utf-8"))
    joints = np.asarray(document["joints3d"], dtype=np.float64)[:, :21]
    if document["handedness"] == "left":
        joints = (joints * np.array([1.0, -1.0, 1.0]))[:, SWAP]
    given = document.get("frame_times_s")
    time = np.asarray(given) if given else np.arange(len(joints)) / document["fps"]
    grid = np.arange(time[0], time[-1], 1.0 / FPS)
    if len(grid) < 40:
        return None
    return CubicSpline(time, joints, axis=0)(grid), float(document["body_height_m"])


def level_axes(look: Array) -> Array:
    """Rows: right, away (horizontal), up of a camera that looks along ``look``."""
    away = np.array([look[0], look[1], 0.0])
    away /= np.linalg.norm(away)
    return np.stack([[away[1], -away[0], 0.0], away, [0.0, 0.0, 1.0]])


def project(points: Array, position: Array, look: Array, roll: float) -> tuple[Array, Array]:
    """Image places (focal length 1, v up) and points in the levelled frame."""
    level = (points - position) @ level_axes(look).T
    pitch = np.arctan2(-look[2], np.hypot(look[0], look[1]))
    depth = level[..., 1] * np.cos(pitch) - level[..., 2] * np.sin(pitch)
    height = level[..., 1] * np.sin(pitch) + level[..., 2] * np.cos(pitch)
    u, v = level[..., 0] / depth, height / depth
    c, s = np.cos(roll), np.sin(roll)
    return np.stack([u * c - v * s, u * s + v * c], -1), level


def features(plane: Array, time: Array, when: Array) -> Array:
    """Joints at seven instants about each moment, shape (N, 7 * 42)."""
    flat = plane.reshape(len(plane), -1)
    columns = []
    for lag in LAGS_S:
        t = np.clip(when + lag, time[0], time[-1])
        i = np.clip(np.searchsorted(time, t) - 1, 0, len(time) - 2)
        share = ((t - time[i]) / (time[i + 1] - time[i]))[:, None]
        columns.append(flat[i] * (1 - share) + flat[i + 1] * share)
    return np.concatenate(columns, axis=1)


def normalised(plane: Array, still: slice) -> tuple[Array, float]:
    """Places about the mid-hip in standing heights, and the standing height in the picture."""
    ears, ankles = plane[still][:, [3, 4], 1].mean(1), plane[still][:, [15, 16], 1].mean(1)
    tall = float(np.median(ears - ankles)) / 0.87
    return (plane - plane[:, [11, 12]].mean(1, keepdims=True)) / tall, tall


def answer(level: Array, stature: float, seen: Array, look: Array) -> Array:
    """What the lift must say: depth, what the picture's place is off by, target direction."""
    hips = level[:, [11, 12]].mean(1, keepdims=True)
    space = (level - hips) / stature
    place = seen[:, NOW * 42 : (NOW + 1) * 42].reshape(-1, 21, 2)
    space[..., [0, 2]] -= place
    target = level_axes(look) @ np.array([1.0, 0.0, 0.0])
    return np.concatenate([space.reshape(len(space), -1), np.tile(target[:2], (len(space), 1))], 1)


def unit(v: Array) -> Array:
    return v / np.maximum(np.linalg.norm(v, axis=-1, keepdims=True), 1e-9)


def landmarks(joints: Array, stature: float, rng: np.random.Generator) -> dict[str, Array]:
    """Where the networks draw each joint: offsets in space, and along the picture of segments."""

    def at(name: str) -> Array:
        return joints[:, INDEX[name]]

    up = unit(at("left_shoulder") + at("right_shoulder") - at("left_hip") - at("right_hip"))
    pelvis = unit(at("left_hip") - at("right_hip"))
    shoulders = unit(at("left_shoulder") - at("right_shoulder"))
    moved, tips, shares = joints.copy(), [], []
    for side, outward in (("left", 1.0), ("right", -1.0)):
        arm = {n: at(f"{side}_{n}") for n in ("shoulder", "elbow", "wrist", "hip", "knee", "ankle")}
        foot = unit(at(f"{side}_toe") - at(f"{side}_heel"))
        upper, fore = unit(arm["elbow"] - arm["shoulder"]), unit(arm["wrist"] - arm["elbow"])
        thigh, shank = unit(arm["knee"] - arm["hip"]), unit(arm["ankle"] - arm["knee"])
        forward = unit(np.cross(pelvis, up))
        axes = {
            "shoulder": {"out": outward * shoulders, "up": up, "distal": upper, "forward": forward},
            "elbow": {"along": upper, "distal": fore},
            "wrist": {"along": fore},
            "hip": {"out": outward * pelvis, "up": up, "distal": thigh, "forward": forward},
            "knee": {"along": thigh, "distal": shank},
            "ankle": {"along": shank, "foot": foot},
            "heel": {"foot": foot, "shank": shank},
            "toe": {"foot": foot, "shank": shank},
        }
        for kind, directions in axes.items():
            mean = mean_offset("fused", kind)
            column = INDEX[f"{side}_{kind}"]
            for axis, direction in directions.items():
                size = mean.get(axis, 0.0) + rng.normal(0, 0.004)
                moved[:, column] += size * stature * direction
                if mean.get(f"{axis}_plane"):
                    tips.append((column, joints[:, column], direction))
                    shares.append(mean[f"{axis}_plane"])
    return {"moved": moved, "tips": tips, "shares": shares}  # type: ignore[dict-item]


def synthetic(joints: Array, stature: float, rng: np.random.Generator) -> tuple[Array, Array]:
    """One motion seen by a random camera, with landmark offsets and noise."""
    middle = joints[:, [11, 12]].mean((0, 1))
    azimuth = rng.uniform(0, 360) if rng.random() < 0.15 else rng.uniform(-5, 200)
    distance, angle = rng.uniform(4.5, 13.0), np.radians(azimuth)
    position = np.array(
        [
            middle[0] + distance * np.cos(angle),
            middle[1] - distance * np.sin(angle),
            rng.uniform(0.7, 2.2),
        ]
    )
    look = np.array([middle[0], middle[1], rng.uniform(0.8, 1.2)]) - position
    look[:2] += rng.normal(0, 0.3, 2)
    roll = rng.normal(0, np.radians(1.2))
    drawn = landmarks(joints, stature, rng)
    plane, _ = project(drawn["moved"], position, look, roll)
    _, level = project(joints, position, look, roll)
    scale = stature / float(np.median(level[..., 1]))
    for (column, base, direction), share in zip(drawn["tips"], drawn["shares"], strict=True):
        ends = [
            project(p[:, None], position, look, roll)[0][:, 0]
            for p in (base, base + 0.05 * direction)
        ]
        plane[:, column] += share * scale * unit(ends[1] - ends[0])
    plane = plane + rng.normal(0, 0.003 * scale, (1, 21, 2))
    noise = rng.normal(0, 0.004 * scale, plane.shape)
    for i in range(1, len(noise)):
        noise[i] = 0.8 * noise[i - 1] + 0.6 * noise[i]
    seen, _ = normalised(plane + noise, slice(0, 21))
    time = np.arange(len(joints)) / FPS
    x = features(seen, time, time)
    return x, answer(level, stature, x, look)


def filmed(truth: Path, track: Path) -> tuple[Array, Array] | None:
    """One real pose track of a rendered film with its truth; None where a joint is missing."""
    from models.contract.vocabulary import LANDMARKS
    from workers.serve.smoothing import local_fit

    document = json.loads(truth.read_text("utf-8"))
    with np.load(track, allow_pickle=False) as file:
        time, pixels = file["time_s"], file["xy_raw"]
    alias = {"left_toe": "left_foot_index", "right_toe": "right_foot_index"}
    plane = pixels[:, [LANDMARKS.index(alias.get(n, n)) for n in NAMES]] * np.array([1.0, -1.0])
    if not np.isfinite(plane).all() or not document["serves"]:
        return None
    joints = np.asarray(document["joints3d"], dtype=np.float64)[:, :21]
    camera = document["camera"]
    position, look = np.asarray(camera["position"]), np.asarray(camera["R"])[2]
    if document["handedness"] == "left":
        flip = np.array([1.0, -1.0, 1.0])
        plane = (plane * np.array([-1.0, 1.0]))[:, SWAP]
        joints, position, look = (joints * flip)[:, SWAP], position * flip, look * flip
    start = document["serves"][0]["event_times_s"]["start"]
    first, last = np.searchsorted(time, [max(start - 0.35, time[0]), start + 0.02])
    seen, _ = normalised(plane, slice(first, last) if last - first >= 3 else slice(0, 8))
    smooth = local_fit(time, seen.transpose(1, 0, 2), 0.02)[0].transpose(1, 0, 2)
    grid = np.arange(time[0], time[-1], 1.0 / FPS)
    x = features(smooth, time, grid)
    given = document.get("frame_times_s")
    clock = np.asarray(given) if given else np.arange(len(joints)) / document["fps"]
    _, level = project(joints, position, look, 0.0)
    level = CubicSpline(clock, level, axis=0)(np.clip(grid, clock[0], clock[-1]))
    return x, answer(level, float(document["body_height_m"]), x, look)
