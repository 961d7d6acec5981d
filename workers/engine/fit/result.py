"""What the fit hands on: the body in the court frame, how sure it is, and samples of it."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from scipy.interpolate import CubicSpline

from models.contract.skeleton import CANONICAL_BODY as BODY
from models.contract.tracks import BodyMotion, BoolArray, FloatArray, IntArray
from workers.engine.camera import LevelCamera
from workers.engine.fit.arrow import Factor
from workers.engine.fit.observations import points_map
from workers.engine.fit.skeleton import POINTS, point
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


@dataclass(frozen=True, slots=True)
class ClipContext:
    """What one fit of a clip tells the next: same person, same camera.

    Attributes
    ----------
    proportions : Proportions
        Body lengths with what is left of their uncertainty.
    camera : LevelCamera
    azimuth_deg, azimuth_sd : float
    """

    proportions: Proportions
    camera: LevelCamera
    azimuth_deg: float
    azimuth_sd: float


@dataclass(frozen=True, slots=True)
class Placement:
    """How the levelled frame is turned and moved into the court frame."""

    heading: float
    heading_sd: float
    early: IntArray
    """Instants of the set-up whose ankles give the origin."""

    def turn(self, extra: float = 0.0) -> FloatArray:
        """Return the rotation from the levelled to the court frame, (3, 3)."""
        c, s = np.cos(self.heading + extra), np.sin(self.heading + extra)
        return np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]])

    def origin(self, points: FloatArray, floor_m: float) -> FloatArray:
        """Return the mid-point of the ankles at set-up, on the floor, levelled frame."""
        ankles = POINTS.middle(points, "ankle")
        middle = np.median(ankles[self.early], axis=0)
        return np.array([middle[0], middle[1], floor_m])

    def apply(self, points: FloatArray, floor_m: float, extra: float = 0.0) -> FloatArray:
        """Return points of the levelled frame in the court frame."""
        return np.asarray((points - self.origin(points, floor_m)) @ self.turn(extra).T)


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
    planted : ndarray of bool, shape (T, 2)
        Front and rear foot standing on the court.
    context : ClipContext
        For the next repetition of the same clip.
    """

    motion: BodyMotion
    azimuth_deg: float
    azimuth_sd: float
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
        out = np.empty((n, len(self.time_s), len(BODY), 3))
        for i in range(n):
            trial = self.state.moved(steps[i], shared[i], self.basis)
            out[i] = self.joints(trial, float(turns[i]))
        return out

    def joints(self, state: FitState, extra_turn: float = 0.0) -> FloatArray:
        """Return the 21 joints of a state at the film's instants, court frame."""
        court = self.placement.apply(level_points(state), state.camera.floor_m, extra_turn)
        full = with_face(court, self.stature_m)
        if len(self.nodes_s) == len(self.time_s):
            return full
        return np.asarray(CubicSpline(self.nodes_s, full, axis=0)(self.time_s))


def level_points(state: FitState) -> FloatArray:
    """Return the 17 points of a state in the levelled frame, shape (T, 17, 3)."""
    return np.asarray(points_map().at(state.body) @ state.vectors)


def with_face(points: FloatArray, stature_m: float) -> FloatArray:
    """Return the 21 body joints from the 17 points, shape (T, 21, 3).

    Eyes, ears and nose are placed on the head by its axis, facing the way the shoulders face.
    """
    out = np.empty((*points.shape[:-2], len(BODY), 3))
    for i, name in enumerate(BODY):
        if name in POINTS:
            out[..., i, :] = points[..., point(name), :]
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
