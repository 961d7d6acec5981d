"""Where the second camera stands, from the body alone: bundle adjustment over both cameras.

Two level cameras some metres away see a body nearly in parallel: epipolar lines alone (the five
points of Nister 2004, IEEE TPAMI 26(6):756-770) then say next to nothing of the angle between them.
What says it is the body: bones of constant and roughly known length, seen in many directions
(factorisation of articulated motion: Tresadern & Reid 2005, CVPR, doi 10.1109/CVPR.2005.75). So the
search starts from cameras all around, at distances that the standing height gives, and adjusts
both cameras, the clocks' offset and the lengths together. Each mark counts by how far its two rays
miss each other, which is its reprojection error once its place is eliminated (Sampson 1982).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares

from models.contract.tracks import FloatArray
from workers.engine import camera as cam
from workers.engine.fit.problem import LANDMARK_NOISE_TIME_S
from workers.engine.fit.skeleton import POINTS
from workers.engine.proportions import LENGTHS, Proportions
from workers.engine.views.rig import KIND_OF, KINDS, NAMES, Rig, bone_lengths, cross, depths
from workers.engine.views.seen import SeenBody

YAW_STEP_DEG = 10.0
"""Step of the first search around the player, degrees (working value)."""
STARTS = 4
"""Starts that are adjusted (working value)."""
INSTANTS = 60
"""Instants that are read at most: more are not new evidence (working value)."""
PITCH_SD = np.radians(8.0)
"""How far a camera that somebody aims looks up or down, rad: wider than the fit of one view, which
has nothing else to go by (working value)."""
ROLL_SD = np.radians(3.0)
"""How far a hand-held camera is rolled, rad (working value)."""
OFFSET_SD_S = 0.05
"""Standard deviation of the offset by the heights alone, seconds (working value; at most 0.02 on
drawn pairs of the tuning seeds)."""
CONSTANT = 0.5
"""Share of the variance of a landmark's error that stays the same over a film (working value; as in
the bounds of what one view can tell)."""
SWAY = 1.0
"""How far an unsteady camera shifts all marks, over the standard deviation of one mark (working
value: 0.2 degrees at 7 m are 1.4 % of stature)."""
DEPTH_TRUST = 0.25
"""Weight of the depths of single pictures once they have chosen between mirror images: they are
drawn to the usual (working value)."""
PROBE_S = 0.002
"""Step by which it is seen how misses change with the offset, seconds."""
STRETCHES = 6
"""Stretches of a serve whose offsets are compared (working value)."""
TAIL = 2.5
"""Residuals beyond so many standard deviations count less and less."""


@dataclass(frozen=True, slots=True)
class Adjusted:
    """A pair of cameras and how well it explains both films.

    Attributes
    ----------
    rig : Rig
    cost : float
        Robust sum of squares, in independent residuals.
    spread : ndarray, shape (11, 11)
        Covariance of `NAMES`.
    unknowns : ndarray, shape (11 + lengths,)
    drifts : ndarray, shape (K,)
        By how many standard deviations the offset differs in each stretch of the serve.
    independent : float
        Number of independent instants.
    """

    rig: Rig
    cost: float
    spread: FloatArray
    unknowns: FloatArray
    drifts: FloatArray
    independent: float


def adjust(
    one: SeenBody, two: SeenBody, offset_s: float, offset_sd_s: float = OFFSET_SD_S
) -> list[Adjusted]:
    """Return pairs of cameras that explain two views, the best first.

    Parameters
    ----------
    one, two : SeenBody
    offset_s : float
        Coarse offset of the clocks, seconds (`clocks`).
    offset_sd_s : float
        Its standard deviation.
    """
    instants = common_instants(one, two, offset_s)
    problem = _Problem(one, two, instants, (offset_s, offset_sd_s))
    angles = np.radians(np.arange(-180.0, 180.0, YAW_STEP_DEG))
    tried = [(problem.first(float(a)), float(a)) for a in angles]
    costs = np.array([float(np.sum(problem.robust(x))) for x, _ in tried])
    lows = [
        i for i in range(len(costs)) if costs[i] <= min(costs[i - 1], costs[(i + 1) % len(costs)])
    ]
    lows.sort(key=lambda i: float(costs[i]))
    found = [problem.solve(tried[i][0]) for i in lows[:STARTS]]
    found.sort(key=lambda adjusted: adjusted.cost)
    problem.depth_trust = DEPTH_TRUST
    return [problem.solve(found[0].unknowns), *found[1:]]


def common_instants(one: SeenBody, two: SeenBody, offset_s: float) -> FloatArray:
    """Return up to `INSTANTS` times of the first film that both films hold, more where it moves."""
    inside = one.time_s[two.inside(one.time_s + offset_s)]
    rows = np.searchsorted(one.time_s, inside)
    high = np.nan_to_num(one.upright[rows])
    speed = np.abs(np.gradient(high, inside, axis=0)).max(axis=1)
    weight = np.cumsum((0.3 + speed) * np.gradient(inside))
    places = np.linspace(weight[0], weight[-1], min(INSTANTS, len(inside)))
    return np.unique(np.interp(places, weight, inside))


class _Problem:
    """Residuals of one pair of views."""

    def __init__(
        self, one: SeenBody, two: SeenBody, instants: FloatArray, offset: tuple[float, float]
    ) -> None:
        self.one, self.two, self.time_s = one, two, instants
        self.offset_s, self.offset_sd_s = offset
        self.in_one = one.at(instants)
        self.known = np.isfinite(one.uv[0, :, 0]) & np.isfinite(two.uv[0, :, 0])
        self.lengths = Proportions.population()
        index = [LENGTHS.index(kind) for kind in KINDS]
        self.length_mean = self.lengths.mean[index] * one.stature_m
        self.length_sd = self.lengths.sd[index] * one.stature_m
        share = np.minimum(1.0, np.gradient(instants) / LANDMARK_NOISE_TIME_S)
        self.share = np.sqrt(share)[:, None]
        rows_one = np.searchsorted(one.time_s, instants).clip(0, len(one.time_s) - 1)
        rows_two = np.searchsorted(two.time_s, instants + self.offset_s).clip(
            0, len(two.time_s) - 1
        )
        self.depth = one.depth[rows_one], two.depth[rows_two]
        self.depth_trust = 1.0

    def first(self, yaw: float) -> FloatArray:
        """Return unknowns for a second camera that is turned by ``yaw`` and looks at the body."""
        x = np.zeros(len(NAMES) + len(KINDS))
        x[3], x[10], x[len(NAMES) :] = yaw, self.offset_s, self.length_mean
        hips_one = np.median(POINTS.middle(self.in_one[0], "hip"), axis=0)
        hips_two = np.median(POINTS.middle(self.two.uv, "hip"), axis=0)
        far = [v.focal_px * v.stature_m / v.tall_px for v in (self.one, self.two)]
        body = far[0] * np.array(
            [hips_one[0] / self.one.focal_px, 1.0, hips_one[1] / self.one.focal_px]
        )
        c, s = np.cos(yaw), np.sin(yaw)
        own = far[1] * np.array(
            [hips_two[0] / self.two.focal_px, 1.0, hips_two[1] / self.two.focal_px]
        )
        x[7:10] = body - np.array([c * own[0] - s * own[1], s * own[0] + c * own[1], own[2]])
        return x

    def residuals(self, x: FloatArray) -> FloatArray:
        """Return weighted residuals: misses, bones, depths of single pictures, priors."""
        rig = Rig(x[: len(NAMES)])
        in_two = self.two.at(self.time_s + rig.offset_s)
        crossed = cross(rig, self.one, self.two, self.in_one, in_two)
        miss = self._misses(crossed.miss[:, self.known])
        bones = bone_lengths(crossed.points) - x[len(NAMES) :][KIND_OF]
        # across the first picture a mark is as sure as there, along it by the second's angle
        sine = max(abs(np.sin(rig.yaw)), 0.3)
        tall = self.one.stature_m
        noise = np.nanmedian(self.one.sd_px) / self.one.tall_px * tall * np.sqrt(2.0) / sine
        parts = [miss, self.share * bones / noise]
        for found, seen, view in zip(
            depths(rig, crossed.points), self.depth, (self.one, self.two), strict=True
        ):
            parts.append(
                self.depth_trust * self.share * (found - seen) / np.hypot(view.depth_sd, noise)
            )
        behind = np.minimum(crossed.ranges, 1.0) - 1.0
        parts.append(np.nan_to_num(behind.mean(axis=2).T))
        return np.concatenate([*(np.nan_to_num(p).ravel() for p in parts), self.priors(x)])

    def _misses(self, miss: FloatArray) -> FloatArray:
        """Return misses (N, K) in independent parts: of each mark what changes and what stays the
        same over a film, and what all marks share, as a hand-held camera turns."""
        common = np.mean(miss, axis=1, keepdims=True)
        own = miss - common
        weight = self.share**2 / np.sum(self.share**2)
        constant = np.sum(weight * own, axis=0, keepdims=True)
        moving = self.share * (own - constant) / np.sqrt(1.0 - CONSTANT)
        count = miss.shape[1]
        shaken = self.share * common * np.sqrt(count / (1.0 + count * SWAY**2))
        parts = moving, constant / np.sqrt(CONSTANT), shaken
        return np.concatenate([part.ravel() for part in parts])

    def drifts(self, rig: Rig) -> FloatArray:
        """Return by how many of its standard deviations the offset differs in each stretch, (K,).

        One serve seen twice keeps its offset; two serves, however alike, go at their own tempo.
        """
        marks = []
        for step in (-PROBE_S, 0.0, PROBE_S):
            in_two = self.two.at(self.time_s + rig.offset_s + step)
            miss = cross(rig, self.one, self.two, self.in_one, in_two).miss[:, self.known]
            marks.append(self._own(miss))
        slope = (marks[2] - marks[0]) / (2.0 * PROBE_S)
        said = np.sum(slope**2, axis=1)
        parts = np.searchsorted(np.cumsum(said), np.linspace(0, said.sum(), STRETCHES + 1)[1:-1])
        out = []
        for own, by, share in zip(
            *(np.split(v, parts) for v in (marks[1], slope, self.share)), strict=True
        ):
            weight = share**2 / (1.0 - CONSTANT)
            told = float(np.sum(weight * by**2))
            out.append(-float(np.sum(weight * by * own)) / max(told, 1e-9) * np.sqrt(told))
        return np.array(out)

    def _own(self, miss: FloatArray) -> FloatArray:
        """Return what changes in time of each mark's own misses (N, K)."""
        own = miss - np.mean(miss, axis=1, keepdims=True)
        weight = self.share**2 / np.sum(self.share**2)
        return np.asarray(own - np.sum(weight * own, axis=0, keepdims=True))

    def priors(self, x: FloatArray) -> FloatArray:
        """Return how far cameras, distances, offset and lengths are from what is usual."""
        rig = Rig(x[: len(NAMES)])
        usual = [x[[0, 4]] / PITCH_SD, x[[1, 5]] / ROLL_SD, x[[2, 6]] / cam.FOCAL_LOG_SD]
        usual.append(np.array([(rig.offset_s - self.offset_s) / self.offset_sd_s]))
        usual.append(np.array([x[9] / (np.sqrt(2.0) * cam.HEIGHT_SD_M)]))
        usual.append((x[len(NAMES) :] - self.length_mean) / self.length_sd)
        return np.concatenate(usual)

    def robust(self, x: FloatArray) -> FloatArray:
        """Return the residuals' robust squares."""
        square = (self.residuals(x) / TAIL) ** 2
        return np.asarray(TAIL**2 * np.log1p(square))

    def solve(self, x: FloatArray) -> Adjusted:
        """Adjust from a start."""
        scale = np.concatenate(
            [[0.1, 0.05, 0.2, 0.2, 0.1, 0.05, 0.2, 1.0, 1.0, 0.5, 0.01], np.full(len(KINDS), 0.02)]
        )
        done = least_squares(
            self.residuals, x, x_scale=scale, loss="cauchy", f_scale=TAIL, max_nfev=40, ftol=1e-4
        )
        slopes = np.asarray(done.jac, dtype=float)
        precision = slopes.T @ slopes
        spread = np.linalg.pinv(precision)[: len(NAMES), : len(NAMES)]
        rig = Rig(done.x[: len(NAMES)])
        return Adjusted(
            rig,
            2.0 * float(done.cost),
            spread,
            done.x,
            self.drifts(rig),
            float(np.sum(self.share**2)),
        )
