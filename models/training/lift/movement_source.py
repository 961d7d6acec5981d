"""One movement by what it is used for: the generators of `models.training.rendered.movements`."""

from __future__ import annotations

import numpy as np

from models.contract.skeleton import CANONICAL_BODY
from models.training.rendered.movements.packed import FPS, joints_at_60, movement
from models.training.rendered.movements.quick_truth import EVENTS, quick_events
from workers.engine.lift import TIMED

from .bank import Movement

SHORTEST = 60
"""Fewest frames of a movement that is learned from."""


def draw_movement(use: str, seed: int, index: int) -> Movement | None:
    """Draw one movement of a right-hander, standing heights; None if there is none long enough.

    Parameters
    ----------
    use : str
        A key of `models.training.rendered.movements.USES`.
    seed, index : int
    """
    try:
        performance, _, _ = movement(use, seed, index)
    except RuntimeError:  # the generator found no posture without a collision
        return None
    joints = joints_at_60(performance) / performance.motion.skeleton.height
    if len(joints) < SHORTEST or not np.isfinite(joints).all():
        return None
    ankles = joints[:10, CANONICAL_BODY.pair("ankle")].mean((0, 1))
    times = dict(zip(EVENTS, quick_events(performance) * FPS, strict=True))
    start = times["start"]
    return Movement(
        joints - ankles * np.array([1.0, 1.0, 0.0]),
        int(start) if np.isfinite(start) else 0,
        np.array([times[event.value] for event in TIMED]),
    )
