"""Which way each segment points in depth: toward or away from the camera, over the whole window.

A segment's length and its picture fix how far it points in depth, but not which way. For each
chain (torso, two arms, two legs) the most plausible sequence of signs is found by dynamic
programming (Viterbi) over: the network's own depth, joint limits, and continuity (a sign can only
change cheaply while the segment lies in the picture's plane).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from itertools import product

import numpy as np

from models.contract.skeleton import ARM_AND_LEG
from models.contract.tracks import FloatArray
from workers.engine.fit.observations import DEPTH_PAIRS, Observations
from workers.engine.fit.phases import Phases
from workers.engine.fit.skeleton import POINTS

EVIDENCE_TIME_S = 0.12
"""Joint limits and continuity are judged on this time scale, seconds."""

SPEED = {"torso": 6.0, "arm": 20.0, "leg": 8.0}
"""Usual angular speed of a segment in a serve, rad/s (order of magnitude)."""


class Guess(Enum):
    """Hypotheses of how the shoulder line lies in depth.

    ``PLAIN``: the cheapest. ``OTHER_COIL``: the other way round while coiled.
    """

    PLAIN = "plain"
    OTHER_COIL = "other_coil"


@dataclass(frozen=True, slots=True)
class ForeshortenedSegment:
    """One segment in the picture's plane, with its two possible depths.

    Attributes
    ----------
    plane : ndarray, shape (T, 2)
        x right and z up, metres.
    depth : ndarray, shape (T,)
        Size of the depth component, metres, never negative.
    seen : ndarray, shape (T,)
        Depth by the network, metres; NaN where unknown.
    seen_sd : float
    """

    plane: FloatArray
    depth: FloatArray
    seen: FloatArray
    seen_sd: float

    def direction(self, sign: int) -> FloatArray:
        """Return the unit direction with a given sign of depth, shape (T, 3)."""
        full = np.stack([self.plane[:, 0], sign * self.depth, self.plane[:, 1]], axis=-1)
        return np.asarray(full / np.maximum(np.linalg.norm(full, axis=-1, keepdims=True), 1e-9))

    def evidence(self, sign: int) -> FloatArray:
        """Return the cost of a sign by the network's depth, (T,)."""
        off = np.nan_to_num((sign * self.depth - self.seen) / self.seen_sd)
        return np.asarray(off**2 / (1.0 + off**2 / 9.0))


def depth_directions(
    seen: Observations,
    uv: FloatArray,
    metres_per_px: float,
    lengths: dict[str, float],
    phases: Phases,
    *,
    guess: Guess = Guess.PLAIN,
) -> dict[str, FloatArray]:
    """Return a plausible unit direction of every segment over time.

    Parameters
    ----------
    seen : Observations
    uv : ndarray, shape (T, 17, 2)
        Pixels of the body's points.
    metres_per_px : float
    lengths : mapping of str to float
        Body lengths, metres.
    phases : Phases
    guess : Guess
        Which hypothesis of the shoulder line to take.

    Returns
    -------
    dict of str to ndarray, shape (T, 3)
        Keys: ``trunk``, ``pelvis``, ``shoulders``, ``{side}_upper_arm`` and so on.
    """
    solver = _Chains(seen, uv, metres_per_px, lengths, phases)
    torso = solver.torso()
    if guess is Guess.OTHER_COIL:
        torso = solver.torso(against=phases.coil[:, None] * torso["shoulders"])
    chest = np.cross(torso["shoulders"], torso["trunk"])
    front = np.cross(torso["pelvis"], torso["trunk"])
    out = dict(torso)
    for arm_side, leg_side in ARM_AND_LEG:
        out |= solver.arm(arm_side, chest)
        out |= solver.leg(leg_side, front)
    return out


class _Chains:
    def __init__(
        self,
        seen: Observations,
        uv: FloatArray,
        metres_per_px: float,
        lengths: dict[str, float],
        phases: Phases,
    ) -> None:
        self.phases = phases
        self.time_s = seen.time_s
        self.share = np.minimum(1.0, np.gradient(seen.time_s) / EVIDENCE_TIME_S)
        self.points = np.stack([uv[..., 0], -uv[..., 1]], axis=-1) * metres_per_px
        self.lengths = lengths
        self.net = {
            pair: (seen.depth[:, i], float(seen.depth_sd[i])) for i, pair in enumerate(DEPTH_PAIRS)
        }

    def segment(self, a: str, b: str, length: str) -> ForeshortenedSegment:
        plane = self.at(b) - self.at(a)
        size = self.lengths[length]
        depth = np.sqrt(np.maximum(size**2 - np.sum(plane**2, axis=-1), 0.0))
        if a == "mid_hip":
            front, rear = (
                self.net["front_hip", "tossing_shoulder"],
                self.net["rear_hip", "hitting_shoulder"],
            )
            return ForeshortenedSegment(plane, depth, (front[0] + rear[0]) / 2, front[1])
        net, sd = self.net[a, b]
        return ForeshortenedSegment(plane, depth, net, sd)

    def at(self, name: str) -> FloatArray:
        if name.startswith("mid_"):
            return POINTS.middle(self.points, name.removeprefix("mid_"))
        return POINTS.at(self.points, name)

    def torso(self, against: FloatArray | None = None) -> dict[str, FloatArray]:
        parts = {
            "trunk": self.segment("mid_hip", "mid_shoulder", "trunk"),
            "pelvis": self.segment("rear_hip", "front_hip", "pelvis"),
            "shoulders": self.segment("hitting_shoulder", "tossing_shoulder", "shoulders"),
        }

        def limits(d: dict[str, FloatArray]) -> FloatArray:
            square = (_dot(d["shoulders"], d["trunk"]) / 0.25) ** 2
            square += (_dot(d["pelvis"], d["trunk"]) / 0.35) ** 2
            coil = self.phases.coil
            turn = np.where(coil, np.radians(12.0), 0.0)
            c, s = np.cos(turn), np.sin(turn)
            pelvis = d["pelvis"]
            usual = np.stack(
                [c * pelvis[:, 0] + s * pelvis[:, 1], c * pelvis[:, 1] - s * pelvis[:, 0]], -1
            )
            apart = np.linalg.norm(d["shoulders"][:, :2] - usual, axis=-1)
            if against is not None:
                same = d["shoulders"][:, 1] * against[:, 1] > 0
                square = square + 100.0 * same
            return np.asarray(square + (apart / np.where(coil, 0.40, 0.8)) ** 2)

        return self.best(parts, limits, SPEED["torso"])

    def arm(self, side: str, chest: FloatArray) -> dict[str, FloatArray]:
        parts = {
            f"{side}_upper_arm": self.segment(f"{side}_shoulder", f"{side}_elbow", "upper_arm"),
            f"{side}_forearm": self.segment(f"{side}_elbow", f"{side}_wrist", "forearm"),
        }

        def limits(d: dict[str, FloatArray]) -> FloatArray:
            upper, fore = d[f"{side}_upper_arm"], d[f"{side}_forearm"]
            behind = np.minimum(_dot(upper, chest) + 0.3, 0.0) / 0.15
            folded = np.minimum(_dot(upper, fore) + 0.3, 0.0) / 0.2
            square = behind**2
            if side == "hitting":
                level = (_dot(upper, chest) / 0.22) ** 2
                square = np.where(self.phases.cocking, level, square)
                off = _dot(upper, fore) - self.phases.elbow_cosine
                square = square + (off / self.phases.elbow_spread) ** 2
            return np.asarray(square + folded**2 + 0.3 * (1.0 - _dot(upper, fore)))

        return self.best(parts, limits, SPEED["arm"])

    def leg(self, side: str, front: FloatArray) -> dict[str, FloatArray]:
        parts = {
            f"{side}_thigh": self.segment(f"{side}_hip", f"{side}_knee", "thigh"),
            f"{side}_shank": self.segment(f"{side}_knee", f"{side}_ankle", "shank"),
        }

        def limits(d: dict[str, FloatArray]) -> FloatArray:
            bend = _dot(d[f"{side}_thigh"] - d[f"{side}_shank"], front)
            return np.asarray((np.minimum(bend - 0.1, 0.0) / 0.2) ** 2)

        return self.best(parts, limits, SPEED["leg"])

    def best(
        self,
        parts: dict[str, ForeshortenedSegment],
        limits: object,
        speed: float,
    ) -> dict[str, FloatArray]:
        """Return the directions along the cheapest sequence of signs."""
        assert callable(limits)
        signs = list(product((1, -1), repeat=len(parts)))
        choices = [
            {name: part.direction(s) for (name, part), s in zip(parts.items(), state, strict=True)}
            for state in signs
        ]
        cost = np.stack(
            [
                self.share
                * (
                    limits(choice)
                    + sum(p.evidence(s) for p, s in zip(parts.values(), state, strict=True))
                )
                for state, choice in zip(signs, choices, strict=True)
            ],
            axis=1,
        )
        paths = np.stack([np.concatenate(list(c.values()), axis=-1) for c in choices], axis=1)
        step = np.diff(self.time_s)
        move = np.linalg.norm(paths[1:, None, :, :] - paths[:-1, :, None, :], axis=-1)
        price = (move / (speed * step + 0.05)[:, None, None]) ** 2
        best = _viterbi(cost, price)
        return {
            name: np.stack([choice[name] for choice in choices], axis=1)[np.arange(len(best)), best]
            for name in parts
        }


def _dot(a: FloatArray, b: FloatArray) -> FloatArray:
    return np.asarray(np.sum(a * b, axis=-1))


def _viterbi(cost: FloatArray, price: FloatArray) -> FloatArray:
    """Return the cheapest path through (T, S) costs and (T - 1, S, S) transition prices."""
    total = cost[0]
    back = np.zeros(cost.shape, dtype=int)
    for t in range(1, len(cost)):
        options = total[:, None] + price[t - 1]
        back[t] = np.argmin(options, axis=0)
        total = options[back[t], np.arange(cost.shape[1])] + cost[t]
    path = np.empty(len(cost), dtype=int)
    path[-1] = int(np.argmin(total))
    for t in range(len(cost) - 1, 0, -1):
        path[t - 1] = back[t, path[t]]
    return path
