"""One view of a serve as the geometry reads it: marks of a body in the picture, in time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.ndimage import gaussian_filter1d

from models.contract.tracks import BoolArray, FloatArray, JointTrack
from workers.engine.fit.initial import merge, stature_px, typical_focal_px
from workers.engine.fit.observations import DEPTH_PAIRS, observe
from workers.engine.fit.offsets import LandmarkErrors
from workers.engine.fit.skeleton import POINTS
from workers.engine.proportions import LENGTHS, POPULATION_STATURE_M, Proportions

SMOOTH_S = 0.008
"""Standard deviation in time by which marks are smoothed before they are read between two frames,
seconds: less than a frame of most films (working value)."""
LINE_S = 0.004
"""How far the time of a mark is off its frame's: the standard deviation over the picture of a
readout of 5 to 16 ms, seconds (working value)."""


@dataclass(frozen=True, slots=True)
class SeenBody:
    """The marks of one body over a stretch of one film.

    Attributes
    ----------
    time_s : ndarray, shape (T,)
        The film's own clock, seconds.
    uv : ndarray, shape (T, 17, 2)
        Right and up of the picture's middle, pixels; gaps are filled in time, a mark that was
        never seen is NaN. A left-hander's picture is mirrored.
    sd_px : ndarray, shape (17,)
        Standard deviation of a mark in each direction, pixels.
    depth, depth_sd : ndarray, shape (T, P) and (P,)
        Depth of the second over the first point of `DEPTH_PAIRS` by one picture alone, metres.
    tall_px : float
        Standing height in the picture, pixels.
    focal_px : float
        A usual focal length for the picture, pixels.
    stature_m : float
    heard_s : ndarray, shape (K,)
        Sharp sounds, seconds.
    curve : CubicSpline
        ``uv`` over ``time_s``.
    """

    time_s: FloatArray
    uv: FloatArray
    sd_px: FloatArray
    depth: FloatArray
    depth_sd: FloatArray
    tall_px: float
    focal_px: float
    stature_m: float
    heard_s: FloatArray
    curve: CubicSpline

    @property
    def upright(self) -> FloatArray:
        """Height of each mark over the mid-hip in standing heights, shape (T, 17)."""
        hips = POINTS.middle(self.uv, "hip")[:, 1]
        return np.asarray((self.uv[..., 1] - hips[:, None]) / self.tall_px)

    @property
    def aside(self) -> FloatArray:
        """How far right of the mid-hip each mark is, standing heights, shape (T, 17)."""
        hips = POINTS.middle(self.uv, "hip")[:, 0]
        return np.asarray((self.uv[..., 0] - hips[:, None]) / self.tall_px)

    def at(self, time_s: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the marks at other times (N,), cubic between frames.

        Returns
        -------
        uv : ndarray, shape (N, 17, 2)
            Pixels.
        sd : ndarray, shape (N, 17)
            Standard deviation in each direction, pixels: more where a mark is quick, as the lines
            of a picture are read one after the other.
        """
        held = np.clip(time_s, self.time_s[0], self.time_s[-1])
        speed = np.linalg.norm(self.curve(held, 1), axis=-1)
        return np.asarray(self.curve(held)), np.hypot(self.sd_px, speed * LINE_S)

    def inside(self, time_s: FloatArray) -> BoolArray:
        """Return which times (N,) the film holds."""
        return np.asarray((time_s >= self.time_s[0]) & (time_s <= self.time_s[-1]))


def between(time_s: FloatArray, values: FloatArray, at_s: FloatArray) -> FloatArray:
    """Return values (T, ...) at other times (N,), linear in time, held at the ends."""
    i = np.clip(np.searchsorted(time_s, at_s) - 1, 0, len(time_s) - 2)
    share = np.clip((at_s - time_s[i]) / (time_s[i + 1] - time_s[i]), 0.0, 1.0)
    share = share.reshape(-1, *[1] * (values.ndim - 1))
    return np.asarray(values[i] * (1.0 - share) + values[i + 1] * share)


def seen_body(
    track: JointTrack,
    landmarks: LandmarkErrors,
    *,
    mirrored: bool = False,
    stature_m: float | None = None,
    heard_s: FloatArray | None = None,
) -> SeenBody:
    """Arrange a track for the geometry of several views.

    Parameters
    ----------
    track : JointTrack
        Frames of the serve, or the whole film.
    landmarks : LandmarkErrors
    mirrored : bool
        True for a left-hander.
    stature_m : float, optional
    heard_s : ndarray, shape (K,), optional
        Sharp sounds on the film's clock, seconds.
    """
    tall_m = stature_m or POPULATION_STATURE_M
    rows = np.flatnonzero(np.isfinite(track.xy_raw).all(axis=-1).sum(axis=-1) >= 12)
    seen = observe(track, rows, mirrored, tall_m, landmarks)
    uv = merge(seen)
    shares = dict(zip(LENGTHS, Proportions.population().mean, strict=True))
    tall = stature_px(uv, shares)
    sd = np.full(len(POINTS), np.nan)
    for j in range(len(POINTS)):
        columns = [m for m, p in enumerate(seen.point_of_row) if p == j]
        if columns:
            sd[j] = float(np.nanmedian(seen.sd[:, columns])) * tall
    place = uv - np.array([track.width / 2.0, track.height / 2.0])
    place[..., 1] = -place[..., 1]
    step = float(np.median(np.diff(seen.time_s)))
    if step < SMOOTH_S * 2.0:
        place = gaussian_filter1d(place, SMOOTH_S / step, axis=0, mode="nearest")
    return SeenBody(
        seen.time_s,
        place,
        sd,
        seen.depth,
        seen.depth_sd,
        tall,
        typical_focal_px(track.width, track.height),
        tall_m,
        np.zeros(0) if heard_s is None else heard_s,
        CubicSpline(seen.time_s, np.nan_to_num(place)),
    )


PAIRS = tuple(POINTS.rows(pair) for pair in DEPTH_PAIRS)
"""The segments of `DEPTH_PAIRS` as rows of the 17 points."""
