"""Bodies and tracks for the tests of the engine, from the committed ground truth (CC0)."""

from __future__ import annotations

import gzip
import json
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from models.contract.skeleton import (
    ANATOMICAL_BODY,
    CANONICAL_BODY,
    LANDMARKS,
    canonical,
)
from models.contract.tracks import BodyMotion, FloatArray, JointTrack

DATA = Path(__file__).resolve().parents[3] / "tests" / "data" / "rendered"


@cache
def truth(clip: str) -> dict[str, Any]:
    """Return the ground truth of a committed clip."""
    with gzip.open(DATA / f"{clip}.json.gz") as file:
        document: dict[str, Any] = json.load(file)
    return document


def times(document: dict[str, Any]) -> FloatArray:
    """Times of the frames, seconds."""
    return np.asarray(np.arange(document["n_frames"]) / document["fps"])


def raw_joints(document: dict[str, Any]) -> FloatArray:
    """Joints (T, 21, 3) as filmed, in the world of the truth."""
    assert document["joint_names"][:21] == list(ANATOMICAL_BODY)
    return np.asarray(document["joints3d"], dtype=np.float64)[:, :21]


def true_motion(clip: str, sd: float = 0.001) -> BodyMotion:
    """The true motion of a committed clip in the canonical court frame."""
    return motion_of(truth(clip), sd)


def motion_of(document: dict[str, Any], sd: float = 0.001) -> BodyMotion:
    """The true motion in the canonical court frame."""
    left = document["handedness"] == "left"
    joints = canonical(raw_joints(document), left_handed=left, axis=1)
    joints = joints - joints[:3, CANONICAL_BODY.pair("ankle")].mean(axis=(0, 1))
    return BodyMotion(
        time_s=times(document),
        frame_index=np.arange(len(joints)),
        joints=joints,
        sd=np.full(joints.shape, sd),
        mirrored=left,
        stature_m=document["body_height_m"],
        method="joints_in",
    )


def mirrored_joints(joints: FloatArray) -> FloatArray:
    """The mirror image of joints: y reversed, sides swapped."""
    return ANATOMICAL_BODY.mirror(joints, axis=1)


def turned(joints: FloatArray, angle_deg: float) -> FloatArray:
    """Joints turned about the vertical."""
    c, s = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    return np.asarray(joints @ np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]]))


def part_of_track(track: JointTrack, rows: Any) -> JointTrack:
    """Some frames of a track; ``rows`` is an index or a slice."""
    per_frame = (
        "time_s",
        "frame_index",
        "xy",
        "xy_raw",
        "confidence",
        "world",
        "score",
        "disagreement_px",
        "people",
    )
    return replace(
        track,
        **{name: getattr(track, name)[rows] for name in per_frame},
        sources={name: values[rows] for name, values in track.sources.items()},
    )


def simulated_track(
    clip: str, noise: float = 0.012, depth: float = 0.75, seed: int = 0
) -> JointTrack:
    """A track such as the pose network gives of a committed clip."""
    return track_of(truth(clip), noise, depth, seed)


def track_of(
    document: dict[str, Any], noise: float = 0.012, depth: float = 0.75, seed: int = 0
) -> JointTrack:
    """A track such as the pose network gives: noisy pixels, shrunken depth.

    ``noise`` in torso lengths; ``depth`` is the share of true depth that is left.
    """
    names = document["joint_names"]
    rng = np.random.default_rng(seed)
    pixels = np.asarray(document["joints2d"], dtype=np.float64)
    space = raw_joints(document)
    hips = ANATOMICAL_BODY.middle(space, "hip")
    world = (space - hips[:, None]) @ np.asarray(document["camera"]["R"]).T
    world[..., 2] *= depth
    torso = np.linalg.norm(
        ANATOMICAL_BODY.middle(pixels, "shoulder") - ANATOMICAL_BODY.middle(pixels, "hip"), axis=1
    )
    rows = [names.index(_source(name)) for name in LANDMARKS]
    frames = len(pixels)
    xy = pixels[:, rows] + rng.normal(0, noise * np.median(torso), (frames, 33, 2))
    seen = world[:, rows] + rng.normal(0, 0.02, (frames, 33, 3))
    return JointTrack(
        time_s=times(document),
        frame_index=np.arange(frames),
        xy=xy,
        xy_raw=xy,
        confidence=np.full((frames, 33), 0.95),
        world=seen,
        score=np.full(frames, 0.99),
        disagreement_px=np.full((frames, 33), np.nan),
        width=document["width"],
        height=document["height"],
        people=np.full(frames, document["n_people"]),
    )


def _source(landmark: str) -> str:
    side = "left" if "left" in landmark else "right"
    if "eye" in landmark:
        return f"{side}_eye"
    if "mouth" in landmark:
        return "nose"
    if any(part in landmark for part in ("pinky", "index", "thumb")) and "foot" not in landmark:
        return f"{side}_wrist"
    return landmark.replace("foot_index", "toe")
