"""The engine's body on the laboratory films against the markers.

The films are no serves: a body is fitted to the whole of them. Their cameras look down and are
rolled, which a phone held level does not; the landmarks are therefore turned into the picture of a
level camera at the same place first, by the known cameras, so that what is judged is the body.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from models.contract.skeleton import CANONICAL_BODY as BODY
from models.contract.tracks import JointTrack
from models.contract.vocabulary import Handedness
from models.training.real.lab import Array, LabCamera, Laboratory, Posture
from workers.engine.fit import fit_body
from workers.engine.fit.offsets import LandmarkErrors
from workers.engine.geometry import wrap180
from workers.engine.interface import EngineRequest

SIDE_ON_DEG = 90.0
"""Azimuth at which the court frame is the camera's levelled frame."""


@dataclass(frozen=True)
class AngleError:
    """One angle of one body, degrees: measured, true, stated standard deviation."""

    camera: str
    frame: int
    name: str
    measured: float
    true: float

    @property
    def off(self) -> float:
        """Error, degrees."""
        return float(wrap180(np.array(self.measured - self.true)))


def levelled(track: JointTrack, camera: LabCamera) -> JointTrack:
    """Return the landmarks as a level camera at the same place would see them."""
    turn, lens = camera.upright(), camera.K
    middle = np.array([track.width / 2.0, track.height / 2.0])

    def moved(values: Array) -> Array:
        ray = np.concatenate(
            [(values[..., :2] - lens[:2, 2]) / lens[0, 0], np.ones((*values.shape[:-1], 1))],
            axis=-1,
        )
        level = ray @ turn.T
        out = np.array(values, dtype=float)
        out[..., :2] = lens[0, 0] * level[..., :2] / level[..., 2:] + middle
        return out

    return replace(
        track,
        xy=moved(track.xy),
        xy_raw=moved(track.xy_raw),
        world=track.world @ turn.T,
        sources={name: moved(values) for name, values in track.sources.items()},
    )


def angle_errors(
    laboratory: Laboratory, tracks: Mapping[str, JointTrack], landmarks: LandmarkErrors
) -> list[AngleError]:
    """Return the angles of the body on every film at the frames with markers."""
    found: list[AngleError] = []
    request = EngineRequest(stature_m=laboratory.stature_m, azimuth_deg=SIDE_ON_DEG)
    for camera in laboratory.cameras:
        track = levelled(tracks[camera.name], camera)
        window = (float(track.time_s[0]), float(track.time_s[-1]))
        body = fit_body(
            track, window, handedness=Handedness.RIGHT, request=request, landmarks=landmarks,
            serve=False,
        ).motion  # fmt: skip
        for posture in laboratory.postures:
            row = int(np.argmin(np.abs(body.frame_index - posture.frame)))
            measured, true = angles(sided(body.joints[row])), angles(in_level(posture, camera))
            found += [
                AngleError(camera.name, posture.frame, name, measured[name], value)
                for name, value in true.items()
            ]
    return found


def sided(joints: Array) -> dict[str, Array]:
    """Return joints (21, 3) of the canonical body by the person's own sides."""
    return {
        f"{side}_{part}": BODY.at(joints, f"{role}_{part}")
        for part, roles in (
            ("hip", ("front", "rear")), ("knee", ("front", "rear")),
            ("ankle", ("front", "rear")), ("shoulder", ("tossing", "hitting")),
        )
        for side, role in zip(("left", "right"), roles, strict=True)
    }  # fmt: skip


def in_level(posture: Posture, camera: LabCamera) -> dict[str, Array]:
    """Return the joint centres in the levelled frame of a camera."""
    turn = camera.level()
    return {name: turn @ point for name, point in posture.centres.items()}


def angles(joints: Mapping[str, Array]) -> dict[str, float]:
    """Return knee flexion, trunk inclination, turn and tilt of pelvis and shoulders, degrees."""
    out: dict[str, float] = {}
    for side in ("left", "right"):
        names = [f"{side}_{part}" for part in ("hip", "knee", "ankle")]
        if all(name in joints for name in names):
            hip, knee, ankle = (joints[name] for name in names)
            out[f"{side} knee flexion"] = _between(knee - hip, ankle - knee)
    hips, girdle = (
        joints[f"left_{part}"] - joints[f"right_{part}"] for part in ("hip", "shoulder")
    )
    trunk = (joints["left_shoulder"] + joints["right_shoulder"]) / 2.0
    trunk = trunk - (joints["left_hip"] + joints["right_hip"]) / 2.0
    out["trunk inclination"] = _between(trunk, np.array([0.0, 0.0, 1.0]))
    for name, line in (("pelvis", hips), ("shoulders", girdle)):
        out[f"{name} turn"] = float(np.degrees(np.arctan2(line[1], line[0])))
        out[f"{name} tilt"] = float(np.degrees(np.arctan2(line[2], np.hypot(line[0], line[1]))))
    split = wrap180(np.array(out["shoulders turn"] - out["pelvis turn"]))
    out["separation"] = float(split)
    return out


def _between(a: Array, b: Array) -> float:
    cross = float(np.linalg.norm(np.cross(a, b)))
    return float(np.degrees(np.arctan2(cross, float(a @ b))))
