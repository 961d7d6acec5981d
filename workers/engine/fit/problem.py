"""The fit's cost: what it charges for, with which weights, and its Gauss-Newton equations."""

from __future__ import annotations

import numpy as np

from models.contract.skeleton import part_of
from models.contract.tracks import BoolArray, FloatArray
from workers.engine import camera as cam
from workers.engine.fit import ground
from workers.engine.fit.anatomy import limit_rows
from workers.engine.fit.observations import (
    BODY_SHARED,
    DEPTH_PAIRS,
    LinearMap,
    Observations,
    points_map,
)
from workers.engine.fit.offsets import NUISANCE, NUISANCE_SD
from workers.engine.fit.others import OTHER, OtherView, add_marks, camera_prior
from workers.engine.fit.phases import Phases
from workers.engine.fit.skeleton import FREE, VECTORS, length_of, vector
from workers.engine.fit.state import FitState
from workers.engine.fit.terms import Accumulator
from workers.engine.proportions import LENGTHS, Proportions

CUTOFF_HZ: dict[str, float] = {
    "mid_hip": 8.0,
    "trunk": 9.0,
    "shake": 2.0,
    "pelvis": 8.0,
    "shoulders": 9.0,
    "upper_arm": 13.0,
    "forearm": 18.0,
    "thigh": 10.0,
    "shank": 11.0,
    "toe": 8.0,
    "heel": 8.0,
    "head": 7.0,
}
"""Frequency at which the smoothness prior passes half of a motion (4th-order, like a two-pass
Butterworth); trunk and legs 4-6 Hz, arms more (common practice)."""

LANDMARK_NOISE_TIME_S = 0.25
"""Landmark errors stay alike for about this long: frames closer than that are not new evidence."""


LIMIT_TIME_S = 0.25
"""Joint limits speak once per so many seconds, however many frames there are."""

TAIL = 4.0
"""Residuals beyond so many standard deviations count less and less (Cauchy loss)."""

DEPTH_TIME_S = 0.25
"""Errors of the network's own depth stay alike for about this long."""


class FitProblem:
    """Cost and equations for one window of one person."""

    def __init__(
        self,
        seen: Observations,
        proportions: Proportions,
        stature_m: float,
        typical_focal_px: float,
        stature_px: float,
        phases: Phases,
        others: tuple[OtherView, ...] = (),
    ) -> None:
        self.seen = seen
        self.others = others
        self.phases = phases
        self.stature_m = stature_m
        self.focal_px = typical_focal_px
        self.points = points_map()
        self.length_mean = proportions.mean * stature_m
        self.length_sd = proportions.sd * stature_m
        self.sd_px = seen.sd * stature_px
        self.depth_trust = 1.0
        self.coil_trust = 1.0
        self.feet_weight = 1.0
        t = seen.time_s
        step = np.diff(t)
        spacing = np.gradient(t) if len(t) > 1 else np.ones(1)
        self.share = np.minimum(1.0, spacing / LANDMARK_NOISE_TIME_S)
        self.step = step
        before, after = step[:-1], step[1:]
        self.stencil = np.stack(
            [
                2.0 / (before * (before + after)),
                -2.0 / (before * after),
                2.0 / (after * (before + after)),
            ],
            axis=1,
        )
        self.curvature = self._curvature_weights((before + after) / 2)
        # Depth pairs use the prior's lengths: shrunken depths must not shrink the bones.
        body = np.concatenate([self.length_mean, np.zeros(len(NUISANCE))])
        pairs = ground.pair_map(self.points, DEPTH_PAIRS).at(body)
        self.depth_map = LinearMap(pairs, np.zeros((BODY_SHARED, *pairs.shape)))
        self.feet_map = ground.pick(self.points, ground.FEET)
        self.slip_map = self.feet_map
        self.balance_map = ground.balance_map(self.points)
        self.balanced: FloatArray = np.zeros(len(t))
        self.across: FloatArray = np.zeros(3)
        self.front: FloatArray = np.zeros((len(t), 3))
        self.chest: FloatArray = np.zeros((len(t), 3))
        self.ahead: FloatArray = np.zeros((len(t), len(seen.forward), 3))
        self.rest: FloatArray = np.zeros((len(t), len(ground.FEET)))
        self.still: FloatArray = np.zeros((len(step), len(ground.FEET)))
        self.good: BoolArray = np.asarray(np.isfinite(seen.uv).all(axis=-1))
        self.uv = np.where(self.good[..., None], seen.uv, 0.0)
        self.depth_good = np.isfinite(seen.depth)
        self.depth = np.where(self.depth_good, seen.depth, 0.0)

    def _curvature_weights(self, spacing: FloatArray) -> FloatArray:
        noise = (0.012 * self.stature_m) ** 2 * LANDMARK_NOISE_TIME_S
        weights = np.zeros((len(spacing), len(VECTORS)))
        for k, name in enumerate(VECTORS):
            cutoff = CUTOFF_HZ[part_of(name)]
            power = noise * (2 * np.pi * cutoff) ** 4
            length = length_of(name)
            scale = 1.0 if length is None else self.length_mean[LENGTHS.index(length)]
            weights[:, k] = scale * np.sqrt(spacing / power)
        return weights

    def evaluate(self, state: FitState, build: bool) -> tuple[float, Accumulator | None]:
        """Return the cost, and its equations when asked for."""
        more = len(self.others) * len(OTHER)
        acc = Accumulator.about(state.vectors, more) if build else None
        cost = self._landmarks(state, acc)
        for i, (view, camera) in enumerate(zip(self.others, state.others, strict=True)):
            cost += add_marks(
                view, camera, i, state.vectors, state.body, self.share, 2.0 * TAIL**2, acc
            )
        cost += self._depths(state, acc)
        cost += self._feet(state, acc)
        cost += self._smoothness(state, acc)
        cost += self._shape(state, acc)
        cost += self._limits(state, acc)
        cost += self._balance(state, acc)
        cost += self._priors(state, acc)
        return cost, acc

    def _limits(self, state: FitState, acc: Accumulator | None) -> float:
        share = self.share * LANDMARK_NOISE_TIME_S / LIMIT_TIME_S
        cost = 0.0
        for value, slopes in limit_rows(
            state.vectors, self.phases, self.chest, self.front, self.coil_trust
        ):
            cost += float(np.sum(share * value**2))
            if acc is not None:
                acc.add_pose({vector(n): s for n, s in slopes.items()}, value, share)
        return cost

    def settle_forward(self, state: FitState) -> None:
        """Renew which way the pelvis faces, for landmarks that lie in front of their joints."""
        forward = np.cross(state.vectors[:, vector("pelvis")], state.vectors[:, vector("trunk")])
        forward /= np.maximum(np.linalg.norm(forward, axis=-1, keepdims=True), 1e-9)
        away = cam.rotation(state.camera.pitch, state.camera.roll)[2]
        self.ahead = _ahead(self.seen, state.vectors, forward, away)
        for view, camera in zip(self.others, state.others, strict=True):
            view.ahead = _ahead(view.seen, state.vectors, forward, camera.away())
        self.front = forward
        chest = np.cross(state.vectors[:, vector("shoulders")], state.vectors[:, vector("trunk")])
        self.chest = chest / np.maximum(np.linalg.norm(chest, axis=-1, keepdims=True), 1e-9)

    def landmark_points(self, state: FitState) -> FloatArray:
        """Return where the landmarks of the state lie, shape (T, M, 3), metres."""
        return np.asarray(self.seen.to_landmarks.at(state.body) @ state.vectors + self.ahead)

    def _landmarks(self, state: FitState, acc: Accumulator | None) -> float:
        points = self.landmark_points(state)
        uv = state.camera.pixels(points)
        weight = np.where(self.good, 1.0 / self.sd_px, 0.0)
        residual = weight[..., None] * (uv - self.uv)
        square = np.sum(residual**2, axis=-1)
        tail = 2.0 * TAIL**2
        cost = float(np.sum(self.share[:, None] * tail * np.log1p(square / tail)))
        if acc is not None:
            _, by_point, by_camera = state.camera.project(points)
            robust = np.sqrt(self.share[:, None] / (1.0 + square / tail))
            scale = (robust * weight)[..., None, None]
            other = np.concatenate([by_camera, np.zeros((*uv.shape, 1))], axis=-1)
            acc.add_rows(
                state.vectors,
                state.body,
                self.seen.to_landmarks,
                scale * by_point,
                robust[..., None] * residual,
                scale * other,
            )
        return cost

    def _depths(self, state: FitState, acc: Accumulator | None) -> float:
        away = cam.rotation(state.camera.pitch, state.camera.roll)[2]
        seen_sd = self.seen.depth_sd / self.depth_trust
        value = self.depth_map.at(state.body) @ state.vectors @ away
        weight = self.depth_good / seen_sd
        residual = weight * (value - self.depth)
        tail = 4.0
        share = (self.share * LANDMARK_NOISE_TIME_S / DEPTH_TIME_S)[:, None]
        cost = float(np.sum(share * tail * np.log1p(residual**2 / tail)))
        if acc is not None:
            robust = np.sqrt(share / (1.0 + residual**2 / tail))
            projector = (robust * weight)[..., None, None] * away
            acc.add_rows(
                state.vectors,
                state.body,
                self.depth_map,
                projector,
                (robust * residual)[..., None],
            )
        return cost

    def _feet(self, state: FitState, acc: Accumulator | None) -> float:
        if self.feet_weight <= 0:
            return 0.0
        points = self.feet_map.at(state.body) @ state.vectors
        height = points[..., 2] - state.camera.floor_m - ground.FLOOR * self.stature_m
        weight = np.sqrt((self.share * self.feet_weight)[:, None] * self.rest) / ground.FLOOR_SD
        cost = float(np.sum((weight * height) ** 2))
        if acc is not None:
            projector = weight[..., None, None] * np.array([0.0, 0.0, 1.0])
            other = np.zeros((*height.shape, 1, 4))
            other[..., 0, 3] = -weight
            acc.add_rows(
                state.vectors,
                state.body,
                self.feet_map,
                projector,
                (weight * height)[..., None],
                other,
            )
        move = self.slip_map.at(state.body) @ np.diff(state.vectors, axis=0)
        weight = np.sqrt(self.feet_weight * self.still / self.step[:, None]) / ground.SLIP_SD
        cost += float(np.sum(weight[..., None] ** 2 * move**2))
        if acc is not None:
            acc.add_slip(state.vectors, state.body, self.slip_map, weight)
        return cost

    def _smoothness(self, state: FitState, acc: Accumulator | None) -> float:
        if len(state.vectors) < 3:
            return 0.0
        v = state.vectors
        s = self.stencil[..., None, None]
        value = s[:, 0] * v[:-2] + s[:, 1] * v[1:-1] + s[:, 2] * v[2:]
        square = self.curvature**2 * np.sum(value**2, axis=-1)
        tail = 6.0
        cost = float(np.sum(tail * np.log1p(square / tail)))
        if acc is not None:
            acc.add_curvature(v, self.stencil, self.curvature / np.sqrt(1.0 + square / tail))
        return cost

    def settle_balance(self, state: FitState) -> None:
        """Renew across which direction a standing body must balance, and when it stands.

        Across the line of the feet there is only a foot's length to balance on; along it the
        weight may be anywhere. During the drive and in the air nothing is asked.
        """
        ankles = self.feet_map.at(state.body)[4:] @ state.vectors
        standing = (self.rest[:, :2].min(axis=1) > 0) & self.phases.before_drive
        self.balanced = np.zeros(len(standing))
        if not standing.any():
            return
        line = np.median((ankles[:, 0] - ankles[:, 1])[standing], axis=0)
        length = float(np.hypot(line[0], line[1]))
        if length > 0.12:
            self.balanced = standing.astype(float)
            self.across = np.array([line[1], -line[0], 0.0]) / length

    def _balance(self, state: FitState, acc: Accumulator | None) -> float:
        if not self.balanced.any():
            return 0.0
        share = self.share * LANDMARK_NOISE_TIME_S / LIMIT_TIME_S * self.balanced
        weight = np.sqrt(share) / (ground.BALANCE_SD * self.stature_m)
        value = (self.balance_map.at(state.body) @ state.vectors)[:, 0] @ self.across
        residual = weight * value
        if acc is not None:
            projector = weight[:, None, None, None] * self.across
            acc.add_rows(
                state.vectors, state.body, self.balance_map, projector, residual[:, None, None]
            )
        return float(np.sum(residual**2))

    def _shape(self, state: FitState, acc: Accumulator | None) -> float:
        """Trunk length, foot length, head over the trunk: soft, per instant."""
        v, lengths = state.vectors, dict(zip(LENGTHS, state.body, strict=False))
        cost = 0.0
        trunk = v[:, vector("trunk")]
        size = np.linalg.norm(trunk, axis=-1)
        weight = np.sqrt(self.share) / (0.008 * self.stature_m)
        cost += self._soft_length(
            state, acc, ("mid_hip", "mid_shoulder"), trunk, size, lengths["trunk"], "trunk", weight
        )
        for side in ("front", "rear"):
            foot = lengths["toe"] * v[:, vector(f"{side}_toe")]
            foot = foot - lengths["heel"] * v[:, vector(f"{side}_heel")]
            size = np.linalg.norm(foot, axis=-1)
            weight = np.sqrt(self.share) / (0.004 * self.stature_m)
            cost += self._soft_length(
                state,
                acc,
                (f"{side}_heel", f"{side}_toe"),
                foot,
                size,
                lengths["foot"],
                "foot",
                weight,
            )
        return cost

    def _soft_length(
        self,
        state: FitState,
        acc: Accumulator | None,
        ends: tuple[str, str],
        value: FloatArray,
        size: FloatArray,
        target: float,
        length: str,
        weight: FloatArray,
    ) -> float:
        residual = weight * (size - target)
        if acc is not None:
            if length == "trunk":
                constant = np.zeros((1, len(VECTORS)))
                constant[0, vector("trunk")] = 1.0
                linear = LinearMap(constant, np.zeros((BODY_SHARED, 1, len(VECTORS))))
            else:
                linear = ground.pair_map(self.points, (ends,))
            projector = (weight / size)[:, None] * value
            by_shared = acc.add_rows(
                state.vectors,
                state.body,
                linear,
                projector[:, None, None, :],
                residual[:, None, None],
            )
            by_shared[..., LENGTHS.index(length)] -= weight[:, None, None]
        return float(np.sum(residual**2))

    def _priors(self, state: FitState, acc: Accumulator | None) -> float:
        body = state.body
        mean = np.concatenate([self.length_mean, np.zeros(len(NUISANCE))])
        sd = np.concatenate([self.length_sd, np.full(len(NUISANCE), NUISANCE_SD * self.stature_m)])
        residual = list((body - mean) / sd)
        slope = list(1.0 / sd)
        camera = state.camera
        for value, spread in (
            (camera.pitch, cam.PITCH_SD),
            (camera.roll, cam.ROLL_SD),
            (np.log(camera.focal_px / self.focal_px), cam.FOCAL_LOG_SD),
            (camera.floor_m + cam.TYPICAL_HEIGHT_M, cam.HEIGHT_SD_M),
        ):
            residual.append(value / spread)
            slope.append(1.0 / spread)
        for view, other in zip(self.others, state.others, strict=True):
            off_usual, by_unknown = camera_prior(other, view.usual_focal_px)
            residual += list(off_usual)
            slope += list(by_unknown)
        distance = float(state.vectors[0, 0, 1])
        far = np.log(distance / cam.TYPICAL_DISTANCE_M) / cam.DISTANCE_LOG_SD
        if acc is not None:
            for i, (off, by) in enumerate(zip(residual, slope, strict=True)):
                acc.add_prior(i, off, by)
            depth = 1  # of the mid-hip, the first of the free vectors: x, y, z
            acc.add_own(0, depth, float(far), 1.0 / (distance * cam.DISTANCE_LOG_SD))
            # A whisper of stiffness keeps unseen directions (head, feet) determined.
            acc.add_stiffness(FREE, 1e-4)
        return float(np.sum(np.square(residual)) + far**2)


def _ahead(
    seen: Observations, vectors: FloatArray, forward: FloatArray, away: FloatArray
) -> FloatArray:
    """Return how far landmarks are off their joints in one picture, shape (T, M, 3), metres."""
    flat: FloatArray = vectors - (vectors @ away)[..., None] * away
    full = np.linalg.norm(vectors, axis=-1, keepdims=True)
    flat /= np.maximum(np.linalg.norm(flat, axis=-1, keepdims=True), np.maximum(0.15 * full, 1e-9))
    ahead = seen.forward[:, None] * forward[:, None, :] + seen.in_plane @ flat
    ahead[..., 2] += seen.vertical
    return np.asarray(ahead)
