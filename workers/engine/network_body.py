"""The pose network's own 3D as a body in the court frame: the plain alternative to the fit.

The network's depth is a regression to the mean, so this is used only to compare with, and where
the fit fails; results then say ``network_3d``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.contract.skeleton import CANONICAL_BODY as BODY
from models.contract.skeleton import PICTURE_ROWS, canonical
from models.contract.tracks import BodyMotion, Camera, FloatArray, JointTrack
from models.contract.vocabulary import Handedness
from workers.engine.geometry import norm
from workers.engine.smoothing import local_fit

JOINT_SD_M = 0.05
"""Standard deviation per coordinate of the network's joints (working value)."""
_CHAIN = (("hip", "knee"), ("knee", "ankle"))
_CHAIN_SHARE = 0.49
"""Thigh plus shank over standing height (de Leva 1996 and the rendered bodies)."""


@dataclass(frozen=True, slots=True)
class NetworkBody:
    """A body from the network's 3D, with the camera azimuth that follows from its stance."""

    motion: BodyMotion
    azimuth: tuple[float, float]


def network_body(
    track: JointTrack,
    window: tuple[int, int],
    *,
    handedness: Handedness,
    stature_m: float,
    azimuth_deg: float | None = None,
) -> NetworkBody | None:
    """Return the network's own 3D in the canonical court frame, or None with too few frames.

    The vertical is the picture's; the target lies along the line of the ankles, from the rear to
    the front foot, unless the camera azimuth is given. The pelvis is placed by its pixels.

    Parameters
    ----------
    track : JointTrack
    window : (start, stop)
        Half-open rows of the track.
    handedness : Handedness
        ``LEFT`` mirrors the result.
    stature_m : float
        Sets the scale.
    azimuth_deg : float or None
        Camera azimuth about the server, if known.
    """
    start, stop = window
    world = track.world[start:stop][:, PICTURE_ROWS]
    pixels = track.xy[start:stop][:, PICTURE_ROWS]
    seen = np.isfinite(world).all(axis=(1, 2)) & np.isfinite(pixels).all(axis=(1, 2))
    if int(seen.sum()) < 8:
        return None
    time = track.time_s[start:stop][seen]
    world, pixels = world[seen], pixels[seen]
    mirrored = handedness is Handedness.LEFT
    level = np.stack([world[..., 0], world[..., 2], -world[..., 1]], axis=-1)
    plane = np.stack([pixels[..., 0], -pixels[..., 1]], axis=-1)
    level = canonical(level, left_handed=mirrored, axis=0)
    plane = canonical(plane, left_handed=mirrored, axis=0)
    level = local_fit(time, level.transpose(1, 0, 2), 0.05)[0].transpose(1, 0, 2)
    leg = _leg(level)
    level = level * (_CHAIN_SHARE * stature_m / leg)
    metres_per_pixel = _metres_per_pixel(level, plane)
    hip = BODY.middle(plane, "hip") * metres_per_pixel
    root = np.stack([hip[:, 0], np.zeros(len(hip)), hip[:, 1]], axis=-1)
    root = local_fit(time, root[None], 0.05)[0][0]
    level = level - BODY.middle(level, "hip")[:, None] + root[:, None]
    turn = _to_court(level, azimuth_deg)
    court = level @ turn.T
    origin = BODY.middle(court[: max(3, len(court) // 10)], "ankle").mean(axis=0)
    court = court - origin
    motion = BodyMotion(
        time_s=time,
        frame_index=track.frame_index[start:stop][seen],
        joints=court,
        sd=np.full(court.shape, JOINT_SD_M),
        mirrored=mirrored,
        stature_m=stature_m,
        method="network_3d",
        camera=_camera(turn, origin, metres_per_pixel, track),
    )
    toward_camera = turn @ np.array([0.0, -1.0, 0.0])
    azimuth = float(np.degrees(np.arctan2(-toward_camera[1], toward_camera[0])) % 360.0)
    return NetworkBody(motion, (azimuth, 12.0))


def _leg(points: FloatArray) -> float:
    total = 0.0
    for side in ("front", "rear"):
        for a, b in _CHAIN:
            segment = BODY.at(points, f"{side}_{a}") - BODY.at(points, f"{side}_{b}")
            total += float(np.median(norm(segment))) / 2.0
    return max(total, 1e-6)


def _metres_per_pixel(level: FloatArray, plane: FloatArray) -> float:
    """Ratio of in-plane extents, weak perspective."""
    space = level[..., [0, 2]] - level[..., [0, 2]].mean(axis=1, keepdims=True)
    pixel = plane - plane.mean(axis=1, keepdims=True)
    return float(np.sum(space * pixel) / np.sum(pixel * pixel))


def _to_court(level: FloatArray, azimuth_deg: float | None) -> FloatArray:
    """Return the rotation about the vertical from camera heading to the court frame."""
    if azimuth_deg is not None:
        angle = np.radians(azimuth_deg)
        # the camera looks along (0, 1, 0); seen from the server it stands at (cos a, -sin a)
        away = np.array([-np.cos(angle), np.sin(angle)])
        right = np.array([away[1], -away[0]])
        return np.array([[right[0], away[0], 0.0], [right[1], away[1], 0.0], [0.0, 0.0, 1.0]])
    rows = slice(0, max(3, int(0.6 * len(level))))
    front, rear = (np.median(BODY.at(level[rows], name), axis=0) for name in BODY.both("ankle"))
    line = (front - rear)[:2]
    x = line / max(float(np.hypot(*line)), 1e-6)
    return np.array([[x[0], x[1], 0.0], [-x[1], x[0], 0.0], [0.0, 0.0, 1.0]])


def _camera(
    turn: FloatArray, origin: FloatArray, metres_per_pixel: float, track: JointTrack
) -> Camera:
    """Return a far camera with the same picture scale (weak perspective)."""
    distance = 50.0
    focal = distance / metres_per_pixel
    axes = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]])
    rotation = axes @ turn.T
    shift = axes @ (turn.T @ origin) + np.array([0.0, 0.0, distance])
    intrinsics = np.array([[focal, 0.0, 0.0], [0.0, focal, 0.0], [0.0, 0.0, 1.0]])
    return Camera(intrinsics, rotation, shift)
