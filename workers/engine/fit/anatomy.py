"""What a body can do: joint limits and usual postures of a serve, as weak residuals per instant."""

from __future__ import annotations

import numpy as np

from models.contract.skeleton import ARM_AND_LEG
from models.contract.tracks import FloatArray
from workers.engine.fit.phases import Phases
from workers.engine.fit.skeleton import vector

SHAKE_SD = (0.012, 0.001, 0.012)
"""Shift of the picture by an unsteady camera, metres at the body: right, away, up."""

Row = tuple[FloatArray, dict[str, FloatArray]]
"""A residual, shape (T,), in standard deviations, and its slopes by segment vector, (T, 3) each."""


def limit_rows(
    v: FloatArray, phases: Phases, chest: FloatArray, front: FloatArray, coil_trust: float
) -> list[Row]:
    """Return the residuals of one posture after the other.

    Elbows not far behind the chest, knees forward of the line hip to ankle, head and shoulder line
    roughly square to the trunk, shoulders turned no further from the pelvis than a spine allows.

    Parameters
    ----------
    v : ndarray, shape (T, 18, 3)
        Segment vectors.
    phases : Phases
    chest, front : ndarray, shape (T, 3)
        Where chest and pelvis face, held fixed.
    coil_trust : float
        Weight of the usual separation, 1 = full.
    """
    rows: list[Row] = []
    trunk = v[:, vector("trunk")] / np.linalg.norm(v[:, [1]], axis=-1)
    for name, spread in (("shoulders", 0.22), ("pelvis", 0.8)):
        line = v[:, vector(name)]
        size = np.linalg.norm(v[:, [1]], axis=-1)
        value = np.sum(line * trunk, axis=-1) / spread
        by_trunk = (line - trunk * np.sum(line * trunk, axis=-1, keepdims=True)) / size
        rows.append((value, {name: trunk / spread, "trunk": by_trunk / spread}))
    coil = phases.coil
    apart = np.where(coil, 0.4, 0.8)[:, None] / coil_trust
    turn = np.where(coil, np.radians(12.0), 0.0)
    c, s, z = np.cos(turn), np.sin(turn), np.zeros(len(v))
    # The shoulder line is the pelvis line turned away from the net by the usual separation.
    ahead = np.stack(
        [np.stack([c, s, z], -1), np.stack([-s, c, z], -1), np.stack([z, z, z + 1], -1)], 1
    )
    off = v[:, vector("shoulders")] - np.einsum("tij,tj->ti", ahead, v[:, vector("pelvis")])
    for i, axis in enumerate(np.eye(3)):
        ones = np.tile(axis, (len(v), 1))
        if i < 2:  # turns only: the shoulders tilt far more than the pelvis
            slopes: dict[str, FloatArray] = {
                "shoulders": ones / apart,
                "pelvis": -ahead[:, i] / apart,
            }
            rows.append((off[:, i] / apart[:, 0], slopes))
        value = (v[:, vector("head")] - trunk) @ axis / 0.25
        by_trunk = (trunk * (trunk @ axis)[:, None] - axis) / size
        rows.append((value, {"head": ones / 0.25, "trunk": by_trunk / 0.25}))
    for arm_side, leg_side in ARM_AND_LEG:
        arm = np.sum(v[:, vector(f"{arm_side}_upper_arm")] * chest, axis=-1)
        value = np.minimum((arm + 0.3) / 0.15, 0.0)
        slope = (value < 0)[:, None] * chest / 0.15
        if arm_side == "hitting":
            value = np.where(phases.cocking, arm / 0.22, value)
            slope = np.where(phases.cocking[:, None], chest / 0.22, slope)
        rows.append((value, {f"{arm_side}_upper_arm": slope}))
        bend = v[:, vector(f"{leg_side}_thigh")] - v[:, vector(f"{leg_side}_shank")]
        value = (np.sum(bend * front, axis=-1) - 0.1) / 0.1
        active = (value < 0)[:, None]
        slope = active * front / 0.1
        rows.append(
            (
                np.minimum(value, 0.0),
                {f"{leg_side}_thigh": slope, f"{leg_side}_shank": -slope},
            )
        )
    upper, fore = v[:, vector("hitting_upper_arm")], v[:, vector("hitting_forearm")]
    away = 1.0 / phases.elbow_spread
    rows.append(
        (
            (np.sum(upper * fore, axis=-1) - phases.elbow_cosine) * away,
            {"hitting_upper_arm": fore * away[:, None], "hitting_forearm": upper * away[:, None]},
        )
    )
    for axis, spread in zip(np.eye(3), SHAKE_SD, strict=True):
        value = v[:, vector("shake")] @ axis / spread
        rows.append((value, {"shake": np.tile(axis / spread, (len(v), 1))}))
    return rows
