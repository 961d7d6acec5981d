"""When the ball leaves the tossing hand: where its free flight is first seen."""

from __future__ import annotations

import numpy as np

from workers.engine.evidence import Evidence
from workers.engine.turning import Told

PARTS_S = 0.012
"""From the release until the ball is a few centimetres off the hand and seen by itself, seconds:
hand and ball part at some 20 m/s² (rendered tosses 0 to 0.03)."""
PARTS_SD_S = 0.012
"""Its standard deviation."""
IN_HAND = 0.16
"""A ball first seen so far from the wrist, standing heights, has just left the hand: a hand is 0.1
long, and a frame of its flight at 60 frames per second adds 0.05."""
PART_SPEED = 1.7
"""Standing heights per second at which hand and ball part (rendered tosses: 3 m/s)."""

LATE_S = 0.15
"""A ball first seen so long after it left the hand does not tell when, seconds (working value)."""


def release_time(evidence: Evidence, arm: Told | None) -> Told | None:
    """Return the release from the ball, where its toss was seen; else from the arm.

    None where the ball was in flight before the arm would have let it go: what the arm did then was
    no toss, as in a film that starts too late.

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
    # what it flew unseen
    missed = max(evidence.from_hand - IN_HAND, 0.0) / PART_SPEED
    if missed > LATE_S:
        return None if arm is not None and arm.time_s > first + 2.0 * arm.sd_s else arm
    return Told(
        first - 0.5 * step - PARTS_S - missed,
        float(np.hypot(sd, missed / np.sqrt(12.0) * 2.0)),
        "ball",
    )
