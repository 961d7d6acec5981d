"""The ball's part alone: body, camera and contact as they are, moved by the errors of a fit."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import av
import numpy as np

from models.contract.note import Note
from models.contract.skeleton import CANONICAL_BODY
from models.contract.tracks import BodyMotion, Camera, JointTrack
from workers.engine.events import Instant
from workers.engine.served import FITTED, ServedBall, served_ball
from workers.sight.watch import Watcher

BEFORE_S, AFTER_S = 0.15, 0.4
"""Frames about contact that are looked at, seconds."""
TURN_SD, SCALE_SD, CONTACT_SD_S = 8.0, 0.015, 0.006
"""Errors of the target line (degrees), of metres in the picture, and of contact (seconds)."""


def watched(film: Path, contact_s: float) -> Watcher:
    """What moves in the frames about contact."""
    watcher = Watcher()
    with av.open(str(film)) as container:
        for index, frame in enumerate(container.decode(video=0)):
            time_s = float(frame.time or 0.0)
            if contact_s - BEFORE_S <= time_s <= contact_s + AFTER_S:
                watcher.show(index, time_s, np.asarray(frame.to_ndarray(format="rgb24"), np.uint8))
    return watcher


def told(film: Path, rng: np.random.Generator) -> tuple[ServedBall | Note, Mapping[str, Any]]:
    """What is said of a film's ball, and the film's truth."""
    truth = json.loads(film.with_suffix(".json").read_text("utf-8"))
    contact = float(truth["serves"][0]["event_times_s"]["contact"])
    times = np.arange(truth["n_frames"]) / truth["fps"]
    left = truth["handedness"] == "left"
    motion = _motion(truth, times, left, rng)
    empty = np.zeros((1, 33, 2))
    track = JointTrack(
        time_s=times[:1],
        frame_index=np.arange(1),
        width=truth["width"],
        height=truth["height"],
        xy=empty,
        xy_raw=empty,
        confidence=np.ones((1, 33)),
        world=np.zeros((1, 33, 3)),
        score=np.ones(1),
        people=np.ones(1, np.int64),
        disagreement_px=np.zeros((1, 33)),
        sightings=watched(film, contact).sightings(),
    )
    moved = contact + CONTACT_SD_S * float(rng.normal())
    instant = Instant(moved, CONTACT_SD_S, 0.9, "ball")
    return served_ball(track, motion, TURN_SD, instant), truth


def _motion(
    truth: Mapping[str, Any], times: np.ndarray, left: bool, rng: np.random.Generator
) -> BodyMotion:
    """The hitting arm and the camera, turned and scaled by what a fit errs."""
    hand = "left" if left else "right"
    joints = np.zeros((len(times), len(CANONICAL_BODY), 3))
    all_joints = np.asarray(truth["joints3d"], float)
    for ours, theirs in (("wrist", "wrist"), ("elbow", "elbow")):
        path = all_joints[:, truth["joint_names"].index(f"{hand}_{theirs}")]
        joints[:, CANONICAL_BODY.index(f"hitting_{ours}")] = path
    about = truth["camera"]
    k, r, t = (np.asarray(about[name], float) for name in "KRt")
    flip = np.diag([1.0, -1.0, 1.0])
    if left:  # the mirrored court in the mirrored picture
        joints = joints @ flip
        r = np.diag([-1.0, 1.0, 1.0]) @ r @ flip
        t = np.diag([-1.0, 1.0, 1.0]) @ t
        k = k.copy()
        k[0, 2] = truth["width"] - k[0, 2]
    angle = np.radians(TURN_SD) * float(rng.normal())
    c, s = np.cos(angle), np.sin(angle)
    turn = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
    scale = float(np.exp(SCALE_SD * rng.normal()))
    middle = joints.mean(axis=(0, 1)) * np.array([1.0, 1.0, 0.0])
    joints = scale * ((joints - middle) @ turn.T)
    camera = Camera(K=k, R=r @ turn.T, t=scale * (t + r @ middle))
    return BodyMotion(
        time_s=times,
        frame_index=np.arange(len(times)),
        joints=joints,
        sd=np.full(joints.shape, 0.03),
        mirrored=left,
        stature_m=float(truth["body_height_m"]),
        method=FITTED,
        camera=camera,
    )
