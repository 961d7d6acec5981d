"""Rendered films with the pose networks' tracks and the truth, as a right-hander sees himself."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.interpolate import CubicSpline

from models.contract.skeleton import PICTURE_ROWS, canonical
from models.contract.tracks import JointTrack
from workers.engine.lift import features, upright

from .scene import JOINTS, Array, Ideal, Scene, answer, event_times, observe, read_json


@dataclass(frozen=True)
class Filmed:
    """One film from the still stance on.

    ``plane`` (T, 21, 2) pixels v up, ``world`` (T, 21, 3) of the network; ``ideal`` and
    ``ideal_px`` what is true; ``contact_s`` and ``trophy_s`` its events.
    """

    name: str
    time_s: Array
    plane: Array
    world: Array
    ideal: Ideal
    ideal_px: Array
    stature_m: float
    events: Array
    trophy_s: float
    contact_s: float

    def example(self) -> tuple[Array, Array]:
        """Features and answers."""
        read, place = features(self.time_s, self.plane, self.world)
        return read, answer(self.ideal, self.stature_m, place, self.events - self.time_s[:, None])


def read_films(folder: Path, tracks: Path) -> Iterator[Filmed]:
    """Every film of one serve whose track shows every joint."""
    for path in sorted(folder.glob("[0-9]*.json")):
        kept = sorted(tracks.glob(f"{path.stem}-*.npz"))
        if kept and (found := _filmed(path, JointTrack.from_npz(kept[0].read_bytes()))):
            yield found


def _filmed(path: Path, track: JointTrack) -> Filmed | None:
    document = read_json(path)
    if len(document["serves"]) != 1:
        return None
    event = document["serves"][0]["event_times_s"]
    rows = track.time_s >= event["start"] - 0.4
    time = track.time_s[rows]
    pixels, world = track.xy_raw[rows][:, PICTURE_ROWS], track.world[rows][:, PICTURE_ROWS]
    if len(time) < 20 or not (np.isfinite(pixels).all() and np.isfinite(world).all()):
        return None
    left = document["handedness"] == "left"
    plane, space = upright(pixels, world, left)
    joints: Array = np.asarray(document["joints3d"], dtype=np.float64)[:, :JOINTS]
    px: Array = np.asarray(document["joints2d"], dtype=np.float64)[:, :JOINTS] * np.array(
        [1.0, -1.0]
    )
    camera = document["camera"]
    position, look = np.asarray(camera["position"]), np.asarray(camera["R"])[2]
    if left:
        flip = np.array([1.0, -1.0, 1.0])
        position, look = position * flip, look * flip
    joints = canonical(joints, left_handed=left, axis=1)
    px = canonical(px, left_handed=left, axis=0)
    given = document.get("frame_times_s")
    clock = np.asarray(given) if given else np.arange(len(joints)) / document["fps"]
    when = np.clip(time, clock[0], clock[-1])
    stature = float(document["body_height_m"])
    joints = CubicSpline(clock, joints, axis=0)(when)
    return Filmed(
        name=path.stem,
        time_s=time,
        plane=plane,
        world=space,
        ideal=observe(joints, stature, Scene(position, look, 0.0)),
        ideal_px=CubicSpline(clock, px, axis=0)(when),
        stature_m=stature,
        events=event_times(document),
        trophy_s=float(event["trophy"]),
        contact_s=float(event["contact"]),
    )
