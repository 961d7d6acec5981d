"""Where the fit starts when the learned lift knows the body: its directions, its depths."""

from __future__ import annotations

import numpy as np

from models.contract.skeleton import CANONICAL_BODY as BODY
from models.contract.tracks import FloatArray, IntArray
from workers.engine.fit.skeleton import FREE, VECTORS
from workers.engine.lift import Lifted

CHAIN = {"upper_arm": ("shoulder", "elbow"), "forearm": ("elbow", "wrist")}
CHAIN |= {"thigh": ("hip", "knee"), "shank": ("knee", "ankle")}
CHAIN |= {"toe": ("ankle", "toe"), "heel": ("ankle", "heel")}


def lifted_directions(lifted: Lifted, rows: IntArray) -> dict[str, FloatArray] | None:
    """Return the direction of every segment at some rows of the track.

    Returns
    -------
    dict of str to ndarray, shape (T, 3), or None
        Unit directions by `VECTORS` from ``trunk`` on, without ``shake``; None where the lift does
        not know one of the rows.
    """
    place = np.searchsorted(lifted.rows, rows)
    if place.max(initial=0) >= len(lifted.rows) or not np.array_equal(lifted.rows[place], rows):
        return None
    joints = lifted.relative[place]

    def at(name: str) -> FloatArray:
        return np.asarray(joints[:, BODY.index(name)])

    def middle(part: str) -> FloatArray:
        return BODY.middle(joints, part)

    out = {
        "trunk": middle("shoulder") - middle("hip"),
        "pelvis": at("front_hip") - at("rear_hip"),
        "shoulders": at("tossing_shoulder") - at("hitting_shoulder"),
        "head": middle("ear") - middle("shoulder"),
    }
    for name in VECTORS[FREE:]:
        side, _, segment = name.partition("_")
        if segment in CHAIN:
            first, second = CHAIN[segment]
            out[name] = at(f"{side}_{second}") - at(f"{side}_{first}")
    return {
        name: way / np.maximum(np.linalg.norm(way, axis=-1, keepdims=True), 1e-9)
        for name, way in out.items()
    }
