"""Other cameras that see the fitted body: where they stand, and what they add to the equations.

The body lives in the levelled frame of the first camera. Another camera is a level camera of its
own, turned about the vertical and moved; its seven unknowns stand behind the shared ones.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from models.contract.tracks import BoolArray, FloatArray
from workers.engine import camera as cam
from workers.engine.camera import LevelCamera
from workers.engine.fit.observations import SHARED, Observations
from workers.engine.fit.skeleton import vector
from workers.engine.fit.terms import Accumulator

OTHER = ("pitch", "roll", "log_focal", "yaw", "x", "y", "z")
"""Unknowns of another camera: radians, metres of the first camera's levelled frame."""


@dataclass(frozen=True, slots=True)
class OtherCamera:
    """A camera beside the first.

    Attributes
    ----------
    lens : LevelCamera
        In its own levelled frame; its floor is not used.
    yaw : float
        How far its heading is to the left of the first camera's, rad.
    place : ndarray, shape (3,)
        Metres, levelled frame of the first camera.
    """

    lens: LevelCamera
    yaw: float
    place: FloatArray

    def moved(self, step: FloatArray) -> OtherCamera:
        """Return the camera after a small step in each of `OTHER`."""
        pitch, roll, focal, yaw = (float(v) for v in step[:4])
        return OtherCamera(
            self.lens.moved(pitch, roll, focal, 0.0), self.yaw + yaw, self.place + step[4:]
        )

    def turn(self) -> FloatArray:
        """Return the rotation into its own levelled frame, shape (3, 3)."""
        c, s = np.cos(self.yaw), np.sin(self.yaw)
        return np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]])

    def away(self) -> FloatArray:
        """Return the direction in which it looks, shape (3,)."""
        return np.asarray(cam.rotation(self.lens.pitch, self.lens.roll)[2] @ self.turn())

    def project(self, points: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Project points (..., 3) of the first camera's levelled frame.

        Returns
        -------
        uv : ndarray, shape (..., 2)
        by_point : ndarray, shape (..., 2, 3)
        by_camera : ndarray, shape (..., 2, 7)
            Derivative by `OTHER`.
        """
        turn = self.turn()
        c, s = np.cos(self.yaw), np.sin(self.yaw)
        by_yaw = np.array([[-s, c, 0.0], [-c, -s, 0.0], [0.0, 0.0, 0.0]])
        apart = points - self.place
        uv, by_own, by_lens = self.lens.project(apart @ turn.T)
        by_point = by_own @ turn
        yawed = np.einsum("...ij,...j->...i", by_own, apart @ by_yaw.T)
        return uv, by_point, np.concatenate([by_lens, yawed[..., None], -by_point], axis=-1)


@dataclass(slots=True)
class OtherView:
    """What another camera saw at the fit's instants.

    Attributes
    ----------
    seen : Observations
        At the fit's instants; its own clock is not used.
    usual_focal_px : float
    sd_px : ndarray, shape (T, M)
    """

    seen: Observations
    usual_focal_px: float
    sd_px: FloatArray
    ahead: FloatArray
    good: BoolArray
    uv: FloatArray

    @classmethod
    def of(cls, seen: Observations, usual_focal_px: float, tall_px: float) -> OtherView:
        """Arrange observations; a shake of the first camera does not shift this one's picture."""
        maps = seen.to_landmarks
        constant = maps.constant.copy()
        constant[:, vector("shake")] = 0.0
        seen = replace(seen, to_landmarks=replace(maps, constant=constant))
        good = np.asarray(np.isfinite(seen.uv).all(axis=-1))
        uv = np.where(good[..., None], seen.uv, 0.0)
        ahead = np.zeros((*good.shape, 3))
        return cls(seen, usual_focal_px, seen.sd * tall_px, ahead, good, uv)


class FilmBeside(Protocol):
    """Another film of the same serve, read at the instants of the first."""

    def start(self, time_s: FloatArray) -> tuple[LevelCamera, OtherCamera, FloatArray]:
        """Return both cameras and the points (T, 17, 3) where their rays cross, metres."""

    def view(self, time_s: FloatArray) -> OtherView:
        """Return what the other film shows at times (T,) of the first film's clock."""


def camera_prior(other: OtherCamera, usual_focal_px: float) -> tuple[FloatArray, FloatArray]:
    """Return residuals and slopes of what is usual of the unknowns of a camera, each (7,)."""
    lens = other.lens
    value = np.array([lens.pitch, lens.roll, np.log(lens.focal_px / usual_focal_px), 0, 0, 0, 0])
    loose = 1e-3
    slope = np.array(
        [1 / cam.PITCH_SD, 1 / cam.ROLL_SD, 1 / cam.FOCAL_LOG_SD, loose, loose, loose, loose]
    )
    return value * slope, slope


def add_marks(
    view: OtherView,
    camera: OtherCamera,
    index: int,
    vectors: FloatArray,
    body: FloatArray,
    share: FloatArray,
    tail: float,
    acc: Accumulator | None,
) -> float:
    """Return the cost of one other camera's landmarks, and add their equations.

    Parameters
    ----------
    index : int
        Which of the other cameras it is.
    share : ndarray, shape (T,)
        How much of an independent instant each is.
    tail : float
        Squared residuals count less and less beyond this.
    """
    points = view.seen.to_landmarks.at(body) @ vectors + view.ahead
    uv, by_point, by_camera = camera.project(points)
    weight = np.where(view.good, 1.0 / view.sd_px, 0.0)
    residual = weight[..., None] * (uv - view.uv)
    square = np.sum(residual**2, axis=-1)
    cost = float(np.sum(share[:, None] * tail * np.log1p(square / tail)))
    if acc is not None:
        robust = np.sqrt(share[:, None] / (1.0 + square / tail))
        scale = (robust * weight)[..., None, None]
        by_shared = acc.add_rows(
            vectors,
            body,
            view.seen.to_landmarks,
            scale * by_point,
            robust[..., None] * residual,
        )
        first = len(SHARED) + index * len(OTHER)
        by_shared[..., first : first + len(OTHER)] = scale * by_camera
    return cost
