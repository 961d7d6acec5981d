"""Whether parts of a body run into each other: capsules about bones, radii in metres."""

from __future__ import annotations

import numpy as np

from models.training.rendered.pose import Body
from models.training.rendered.rotation import Array

#: radii as shares of standing height are not needed at this precision: slim parts, so that only
#: collisions worth seeing count (working values, looked at on rendered bodies)
_TRUNK, _HEAD, _LEG = 0.085, 0.105, 0.05
#: how far a part may be inside for a movement to be drawn again, metres
_SLACK = 0.015


def _to_segment(p: Array, a: Array, b: Array) -> Array:
    """Distance of points (T, 3) from segments (T, 3) to (T, 3)."""
    d = b - a
    share = np.clip(np.sum((p - a) * d, -1) / np.sum(d * d, -1), 0.0, 1.0)
    return np.asarray(np.linalg.norm(p - a - share[:, None] * d, axis=-1))


def depth(body: Body) -> Array:
    """Deepest overlap of hands, elbows, knees and ankles with what they may hit, (T,) metres."""
    p = body.points
    hips = p["mid_hip"]
    neck = 0.7 * p["neck"] + 0.3 * p["chest"]
    head = 0.5 * (p["skull"] + p["vertex"])
    worst = np.full(len(hips), -1.0)
    for side, other in (("L", "R"), ("R", "L")):
        hand = 0.5 * (p[f"{side}_wrist"] + p[f"{side}_hand"])
        middle = 0.5 * (p[f"{side}_wrist"] + p[f"{side}_elbow"])
        for point, thick in ((hand, 0.03), (middle, 0.03), (p[f"{side}_elbow"], 0.03)):
            worst = np.maximum(worst, _TRUNK + thick - _to_segment(point, hips, neck))
            worst = np.maximum(worst, _HEAD + thick - np.linalg.norm(point - head, axis=-1))
        worst = np.maximum(worst, 0.08 - np.linalg.norm(hand - p[f"{other}_elbow"], axis=-1))
        thigh = _to_segment(hand, p[f"{side}_hip"], p[f"{side}_knee"])
        worst = np.maximum(worst, 0.07 - thigh)
        shin = _to_segment(p[f"{side}_ankle"], p[f"{other}_knee"], p[f"{other}_ankle"])
        worst = np.maximum(worst, _LEG + 0.03 - shin)
    hands = np.linalg.norm(p["L_hand"] - p["R_hand"], axis=-1)
    knees = np.linalg.norm(p["L_knee"] - p["R_knee"], axis=-1)
    return np.asarray(np.maximum(worst, np.maximum(0.05 - hands, 0.08 - knees)))


def collides(body: Body) -> bool:
    """Whether any part runs into another at any instant."""
    return bool(np.any(depth(body) > _SLACK))
