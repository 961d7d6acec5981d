"""Motions and cameras: joints in space to ideal joints in the picture."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from scipy.interpolate import CubicSpline

from models.contract.skeleton import CANONICAL_BODY, canonical
from workers.engine.lift import CLOCK_S, TIMED

Array = np.ndarray[Any, np.dtype[Any]]
JOINTS = len(CANONICAL_BODY)
HIPS = CANONICAL_BODY.pair("hip")
FPS = 60.0
_TRUTH_NAME = {"loading": "lowest_pelvis"}
TARGET = np.array([1.0, 0.0, 0.0])


@dataclass(frozen=True)
class Motion:
    """A canonical body in the court frame (T, 21, 3), when movement starts, and the times
    of the events of `TIMED`.
    """

    time_s: Array
    joints: Array
    stature_m: float
    start_s: float
    events: Array


@dataclass(frozen=True)
class Scene:
    """A camera: place, direction of view, roll in radians."""

    position: Array
    look: Array
    roll: float


@dataclass(frozen=True)
class Ideal:
    """What a perfect observer sees: places in standing heights (v up), points in the level frame.

    ``plane`` is (T, 21, 2), ``level`` (T, 21, 3) metres: x right, y away, z up.
    """

    plane: Array
    level: Array
    target: Array


def read_motion(document: dict[str, Any]) -> Motion | None:
    """The motion of a truth document at 60 Hz; None if it is too short or no serve."""
    if not document["serves"]:
        return None
    joints: Array = np.asarray(document["joints3d"], dtype=np.float64)[:, :JOINTS]
    joints = canonical(joints, left_handed=document["handedness"] == "left", axis=1)
    given = document.get("frame_times_s")
    time = np.asarray(given) if given else np.arange(len(joints)) / document["fps"]
    grid = np.arange(time[0], time[-1], 1.0 / FPS)
    if len(grid) < 40:
        return None
    start = float(document["serves"][0]["event_times_s"]["start"])
    smooth = CubicSpline(time, joints, axis=0)(grid)
    return Motion(grid, smooth, float(document["body_height_m"]), start, event_times(document))


def event_times(document: dict[str, Any]) -> Array:
    """Times of the events that the lift times, seconds."""
    known = document["serves"][0]["event_times_s"]
    return np.array([known[_TRUTH_NAME.get(event, event)] for event in TIMED])


def read_json(path: Path) -> dict[str, Any]:
    """A truth document."""
    document: dict[str, Any] = json.loads(path.read_text("utf-8"))
    return document


def random_scene(joints: Array, rng: np.random.Generator) -> Scene:
    """A camera as people hold one, mostly on the side the chest faces or behind."""
    middle = joints[:, HIPS].mean((0, 1))
    azimuth = rng.uniform(0, 360) if rng.random() < 0.15 else rng.uniform(-5, 200)
    distance, angle = rng.uniform(4.5, 13.0), np.radians(azimuth)
    offset = np.array([np.cos(angle), -np.sin(angle)]) * distance
    position = np.array([middle[0] + offset[0], middle[1] + offset[1], rng.uniform(0.7, 2.2)])
    look = np.array([middle[0], middle[1], rng.uniform(0.8, 1.2)]) - position
    look[:2] += rng.normal(0, 0.3, 2)
    return Scene(position, look, rng.normal(0, np.radians(1.2)))


def level_axes(look: Array) -> Array:
    """Rows: right, away (horizontal), up of a camera that looks along ``look``."""
    away = np.array([look[0], look[1], 0.0])
    away /= np.linalg.norm(away)
    return np.stack([[away[1], -away[0], 0.0], away, [0.0, 0.0, 1.0]])


def observe(joints: Array, stature: float, scene: Scene) -> Ideal:
    """Project joints (T, 21, 3)."""
    axes = level_axes(scene.look)
    level = (joints - scene.position) @ axes.T
    pitch = np.arctan2(-scene.look[2], np.hypot(scene.look[0], scene.look[1]))
    depth = level[..., 1] * np.cos(pitch) - level[..., 2] * np.sin(pitch)
    height = level[..., 1] * np.sin(pitch) + level[..., 2] * np.cos(pitch)
    u, v = level[..., 0] / depth, height / depth
    c, s = np.cos(scene.roll), np.sin(scene.roll)
    plane = np.stack([u * c - v * s, u * s + v * c], -1)
    scale = stature / float(np.median(level[:20, :, 1]))
    return Ideal(plane / scale, level, axes @ TARGET)


def pose_of(ideal: Ideal, stature: float) -> Array:
    """The posture as the camera has it, about the mid-hip in standing heights: (T, 63)."""
    hips = ideal.level[:, HIPS].mean(1, keepdims=True)
    return np.asarray(((ideal.level - hips) / stature).reshape(len(ideal.level), -1))


def answer(ideal: Ideal, stature: float, place: Array, until: Array) -> Array:
    """What the lift must say: depth, what the picture's place is off by, target, events.

    ``until`` (T, 4) is the time to each event of `TIMED`, seconds.
    """
    space = pose_of(ideal, stature).reshape(-1, JOINTS, 3)
    space[..., [0, 2]] -= place
    direction = np.tile(ideal.target[:2], (len(space), 1))
    clocks = np.clip(until / CLOCK_S, -1.0, 1.0)
    return np.concatenate([space.reshape(len(space), -1), direction, clocks], 1)
