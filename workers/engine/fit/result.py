"""What the fit hands on: the body in the court frame, how sure it is, and samples of it."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from scipy.interpolate import CubicSpline

from models.contract.skeleton import CANONICAL_BODY as BODY
from models.contract.tracks import BodyMotion, BoolArray, FloatArray, IntArray
from workers.engine.camera import LevelCamera
from workers.engine.fit.arrow import Factor
from workers.engine.fit.observations import BODY_SHARED, SHARED, points_map
from workers.engine.fit.skeleton import POINTS
from workers.engine.fit.state import FitState
from workers.engine.proportions import Proportions

_FACE: dict[str, tuple[float, float, float]] = {
    "nose": (0.062, 0.0, -0.010),
    "tossing_eye": (0.046, 0.018, 0.010),
    "hitting_eye": (0.046, -0.018, 0.010),
    "tossing_ear": (0.0, 0.043, 0.0),
    "hitting_ear": (0.0, -0.043, 0.0),
}
"""Face points from the mid-ear: forward, to the tossing side, up; shares of standing height
(working values)."""


_SAME = tuple(name for name in BODY if name in POINTS)

AT_A_TIME = 8
"""Bodies drawn together, so that their arrays stay within a core's cache (working value)."""


@dataclass(frozen=True, slots=True)
class ClipContext:
    """What one fit of a clip tells the next: same person, same camera.

    Attributes
    ----------
    proportions : Proportions
        Body lengths with what is left of their uncertainty.
    camera : LevelCamera
    azimuth_deg, azimuth_sd : float
    by_lines : bool
        Whether lines of the court told the azimuth: the same lines must not tell it twice.
    """

    proportions: Proportions
    camera: LevelCamera
    azimuth_deg: float
    azimuth_sd: float
    by_lines: bool = False


@dataclass(frozen=True, slots=True)
class Placement:
    """How the levelled frame is turned and moved into the court frame."""

    heading: float
    heading_sd: float
    early: IntArray
    """Instants of the set-up whose ankles give the origin."""

    def origin(self, points: FloatArray, floor_m: FloatArray | float) -> FloatArray:
        """Return the mid-point of the ankles at set-up, on the floor, levelled frame.

        Points of shape (..., T, 17, 3) and floors of shape (...): one origin each, (..., 3).
        """
        ankles = POINTS.middle(points[..., self.early, :, :], "ankle")
        origin = np.median(ankles, axis=-2)
        origin[..., 2] = floor_m
        return np.asarray(origin)

    def apply(
        self, points: FloatArray, floor_m: FloatArray | float, extra: FloatArray | float = 0.0
    ) -> FloatArray:
        """Return points (..., T, 17, 3) of the levelled frame in the court frame.

        Floors and extra turns of the heading (radians) have shape (...).
        """
        moved = points - self.origin(points, floor_m)[..., None, None, :]
        angle = np.asarray(self.heading + np.asarray(extra))[..., None, None]
        c, s = np.cos(angle), np.sin(angle)
        x, y = moved[..., 0], moved[..., 1]
        moved[..., 0], moved[..., 1] = c * x + s * y, c * y - s * x
        return np.asarray(moved)


@dataclass(frozen=True, slots=True)
class FitResult:
    """One fitted repetition.

    Attributes
    ----------
    motion : BodyMotion
        Court frame, canonical right-hander, posterior sd per coordinate (without the uncertainty
        of the target line), camera. Floor at z = 0.
    azimuth_deg, azimuth_sd : float
        Camera about the server: 0 = from the net, 90 = facing the chest, degrees. For a left-hander
        in the mirrored picture, so that 90 still faces the chest.
    by_lines : bool
        Whether lines of the court told it too, not the body alone.
    planted : ndarray of bool, shape (T, 2)
        Front and rear foot standing on the court.
    context : ClipContext
        For the next repetition of the same clip.
    """

    motion: BodyMotion
    azimuth_deg: float
    azimuth_sd: float
    by_lines: bool
    planted: BoolArray
    context: ClipContext
    _draw: Drawer = field(repr=False)

    def sample(self, n: int, seed: int) -> FloatArray:
        """Draw bodies from the posterior, the target line's uncertainty included.

        Returns
        -------
        ndarray, shape (n, T, 21, 3)
            Court frame, metres.
        """
        return self._draw.sample(n, seed)


@dataclass(frozen=True, slots=True)
class Drawer:
    """Everything needed to draw from the posterior."""

    state: FitState
    factor: Factor
    basis: FloatArray
    nodes_s: FloatArray
    time_s: FloatArray
    placement: Placement
    stature_m: float

    def sample(self, n: int, seed: int) -> FloatArray:
        """See `FitResult.sample`."""
        rng = np.random.default_rng(seed)
        steps, shared = self.factor.sample(n, rng)
        turns = rng.standard_normal(n) * self.placement.heading_sd
        body = self.state.body + shared[:, :BODY_SHARED]
        floor = self.state.camera.floor_m + shared[:, SHARED.index("floor")]
        out = np.empty((n, len(self.time_s), len(BODY), 3))
        for first in range(0, n, AT_A_TIME):
            part = slice(first, first + AT_A_TIME)
            vectors = self.state.moved_vectors(steps[part], self.basis)
            points = points_map().at(body[part])[:, None] @ vectors
            out[part] = self._on_film(self.placement.apply(points, floor[part], turns[part]))
        return out

    def joints(self, state: FitState) -> FloatArray:
        """Return the 21 joints of a state at the film's instants, court frame."""
        return self._on_film(self.placement.apply(level_points(state), state.camera.floor_m))

    def _on_film(self, court: FloatArray) -> FloatArray:
        """Return all joints at the film's instants from points (..., nodes, 17, 3)."""
        full = with_face(court, self.stature_m)
        if len(self.nodes_s) == len(self.time_s):
            return full
        return np.asarray(CubicSpline(self.nodes_s, full, axis=-3)(self.time_s))


def level_points(state: FitState) -> FloatArray:
    """Return the 17 points of a state in the levelled frame, shape (T, 17, 3)."""
    return np.asarray(points_map().at(state.body) @ state.vectors)


def with_face(points: FloatArray, stature_m: float) -> FloatArray:
    """Return the 21 body joints from the 17 points, shape (T, 21, 3).

    Eyes, ears and nose are placed on the head by its axis, facing the way the shoulders face.
    """
    out = np.empty((*points.shape[:-2], len(BODY), 3))
    out[..., BODY.rows(_SAME), :] = points[..., POINTS.rows(_SAME), :]
    tossing, hitting = (POINTS.at(points, name) for name in POINTS.both("shoulder"))
    head = POINTS.at(points, "head")
    up = _unit(head - (tossing + hitting) / 2)
    forward = _unit(np.cross(tossing - hitting, up))
    side = np.cross(up, forward)
    for name, (ahead, aside, above) in _FACE.items():
        out[..., BODY.index(name), :] = head + stature_m * (
            ahead * forward + aside * side + above * up
        )
    return out


def _unit(v: FloatArray) -> FloatArray:
    return np.asarray(v / np.maximum(np.linalg.norm(v, axis=-1, keepdims=True), 1e-9))
