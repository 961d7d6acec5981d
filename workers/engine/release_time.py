"""When the ball leaves the tossing hand: where its free flight is first seen."""

from __future__ import annotations

import numpy as np

from workers.engine.evidence import Evidence
from workers.engine.turning import Told, joined

PARTS_S = 0.012
"""From the release until the ball is a few centimetres off the hand and seen by itself, seconds:
hand and ball part at some 20 m/s² (rendered tosses 0.005 to 0.03)."""
PARTS_SD_S = 0.012
"""Its standard deviation."""
LATE = 0.25
"""A toss first seen so far over the shoulders, standing heights, began unseen: it says until when
the release was, no more."""


def release_time(evidence: Evidence, arm: Told | None) -> Told | None:
    """Return the release from the ball, where its toss was seen from the hand on.

    Parameters
    ----------
    evidence : Evidence
    arm : Told or None
        The release as the raised arm tells it.
    """
    toss = evidence.toss
    if toss is None:
        return arm
    first, step = float(toss.seen_s[0]), evidence.step_s
    sd = float(np.hypot(PARTS_SD_S, step / np.sqrt(12.0)))
    ball = Told(first - 0.5 * step - PARTS_S, sd, "ball")
    high = float(toss.at(first)[1])
    if high > LATE:
        # back along the path to where the hand was: a metre a few tenths of a second earlier
        rise = max(float(toss.velocity(first)[1]), 0.5)
        missed = (high - LATE / 2.0) / (rise + 0.5 * toss.fall * 0.1)
        ball = Told(ball.time_s - missed / 2.0, float(np.hypot(sd, missed / np.sqrt(12.0))), "ball")
    return ball if arm is None else joined(ball, arm)
