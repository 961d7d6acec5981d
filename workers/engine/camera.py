"""The levelled camera frame and a pinhole camera in it.

Levelled frame: origin at the camera, x to the right of the picture, y horizontal away from the
camera, z up (gravity); metres. Its heading is the camera's own, so nothing in it depends on where
the net is. Pitch (positive = looking down) and roll (radians) lead from it to the camera's axes
(x right, y down, z away).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from models.contract.tracks import Camera, FloatArray

_LEVEL = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]])
"""From the levelled frame (x right, y away, z up) to a level camera's axes (x right, y down)."""

TYPICAL_DISTANCE_M, DISTANCE_LOG_SD = 8.0, 0.12
"""Where a coach or a parent puts a camera that must hold a whole serve, metres, and the standard
deviation of its logarithm (common practice)."""

TYPICAL_FOCAL, FOCAL_LOG_SD = 1.9, 0.35
"""Focal length over the picture's shorter side, and the standard deviation of its logarithm: phone
main to 2x camera."""

TYPICAL_HEIGHT_M, HEIGHT_SD_M = 1.4, 0.35
"""Height of a hand-held or tripod camera, metres: at the chest (common practice, no source)."""

PITCH_SD, ROLL_SD = np.radians(4.0), np.radians(1.0)
"""Standard deviations of a camera held level, rad (common practice, no source)."""


def rotation(pitch: float, roll: float) -> FloatArray:
    """Return the rotation from the levelled frame to camera axes, shape (3, 3)."""
    return np.asarray(_about_z(roll) @ _about_x(pitch) @ _LEVEL)


def rotation_derivatives(pitch: float, roll: float) -> tuple[FloatArray, FloatArray]:
    """Return the derivatives of `rotation` by pitch and by roll, each (3, 3) per radian."""
    turn_x = np.array([[0.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]])
    turn_z = np.array([[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 0.0]])
    by_pitch = _about_z(roll) @ turn_x @ _about_x(pitch) @ _LEVEL
    by_roll = turn_z @ _about_z(roll) @ _about_x(pitch) @ _LEVEL
    return np.asarray(by_pitch), np.asarray(by_roll)


def _about_x(angle: float) -> FloatArray:
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[1.0, 0.0, 0.0], [0.0, c, -s], [0.0, s, c]])


def _about_z(angle: float) -> FloatArray:
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])


@dataclass(frozen=True, slots=True)
class LevelCamera:
    """A pinhole camera with square pixels at the origin of the levelled frame.

    Attributes
    ----------
    focal_px : float
    centre_px : tuple of float
        Principal point: the middle of the upright frame.
    pitch, roll : float
        Radians.
    floor_m : float
        z of the court surface in the levelled frame; minus the camera's height.
    """

    focal_px: float
    centre_px: tuple[float, float]
    pitch: float = 0.0
    roll: float = 0.0
    floor_m: float = -TYPICAL_HEIGHT_M

    def pixels(self, points: FloatArray) -> FloatArray:
        """Return where points (..., 3) of the levelled frame lie in the picture, (..., 2)."""
        _, ratio = self._ratio(points)
        return np.asarray(self.focal_px * ratio + np.array(self.centre_px))

    def _ratio(self, points: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the distance along the optical axis, metres, and x and y over it."""
        cam = points @ rotation(self.pitch, self.roll).T
        depth = np.maximum(cam[..., 2], 0.1)
        return depth, cam[..., :2] / depth[..., None]

    def project(self, points: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Project points of the levelled frame.

        Parameters
        ----------
        points : ndarray, shape (..., 3)
            Metres.

        Returns
        -------
        uv : ndarray, shape (..., 2)
            Pixels.
        by_point : ndarray, shape (..., 2, 3)
            Derivative of ``uv`` by the point, pixels per metre.
        by_camera : ndarray, shape (..., 2, 3)
            Derivative of ``uv`` by pitch, roll (radians) and the logarithm of the focal length.
        """
        turn = rotation(self.pitch, self.roll)
        depth, ratio = self._ratio(points)
        uv = self.focal_px * ratio + np.array(self.centre_px)
        by_cam = np.zeros((*points.shape[:-1], 2, 3))
        scale = self.focal_px / depth
        by_cam[..., 0, 0] = scale
        by_cam[..., 1, 1] = scale
        by_cam[..., 0, 2] = -scale * ratio[..., 0]
        by_cam[..., 1, 2] = -scale * ratio[..., 1]
        by_pitch, by_roll = rotation_derivatives(self.pitch, self.roll)
        by_camera = np.stack(
            [
                np.einsum("...ij,...j->...i", by_cam, points @ by_pitch.T),
                np.einsum("...ij,...j->...i", by_cam, points @ by_roll.T),
                self.focal_px * ratio,
            ],
            axis=-1,
        )
        return uv, by_cam @ turn, by_camera

    def moved(self, pitch: float, roll: float, focal_log: float, floor: float) -> LevelCamera:
        """Return the camera after a small step in each of its parameters."""
        return replace(
            self,
            pitch=self.pitch + pitch,
            roll=self.roll + roll,
            focal_px=self.focal_px * float(np.exp(focal_log)),
            floor_m=self.floor_m + floor,
        )

    def in_court(self, target_heading: float, origin: FloatArray) -> Camera:
        """Return the camera in a court frame.

        Parameters
        ----------
        target_heading : float
            Heading of the target line in the levelled frame, radians counter-clockwise from x.
        origin : ndarray, shape (3,)
            Origin of the court frame in the levelled frame, metres.
        """
        c, s = np.cos(target_heading), np.sin(target_heading)
        level_from_court = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
        turn = rotation(self.pitch, self.roll)
        intrinsics = np.array(
            [
                [self.focal_px, 0.0, self.centre_px[0]],
                [0.0, self.focal_px, self.centre_px[1]],
                [0.0, 0.0, 1.0],
            ]
        )
        return Camera(K=intrinsics, R=turn @ level_from_court, t=turn @ origin)
