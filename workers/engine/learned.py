"""What the engine has learned from films with known truth, as one value that is handed in.

The engine reads no files: `workers.learned` reads and verifies them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from models.contract.tracks import FloatArray
from workers.engine.calibration import Calibration
from workers.engine.event_errors import NO_EVENT_ERRORS, EventErrors
from workers.engine.fit.offsets import LandmarkErrors

LiftNetwork = Callable[[FloatArray], FloatArray]
"""Features (N, F) of `workers.engine.lift_input` to answers (N, A) of `workers.engine.lift_layout`,
both float64."""


@dataclass(frozen=True, slots=True)
class Learned:
    """Everything that was learned.

    Attributes
    ----------
    lift : callable
        The network of the learned lift.
    calibration : Calibration
        Errors of metrics and events on film, and what films of one place share.
    landmarks : LandmarkErrors
        Where the pose networks put their landmarks and depths.
    event_errors : EventErrors
        How far off the times of events are, and how often within what is stated.
    """

    lift: LiftNetwork
    calibration: Calibration
    landmarks: LandmarkErrors
    event_errors: EventErrors = NO_EVENT_ERRORS
