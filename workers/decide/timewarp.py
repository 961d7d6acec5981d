"""Piecewise-linear registration of two serves at their shared events.

The phase axis counts events: 0 at the first shared event, 1 at the next, and so on; between two
events phase runs linearly in time. Two serves at one phase are "at the same point of the serve".
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from models.contract.analysis import Event
from models.contract.tracks import FloatArray
from models.contract.vocabulary import EventName

ORDER: tuple[EventName, ...] = (
    EventName.SET_UP,
    EventName.RELEASE,
    EventName.TROPHY,
    EventName.RACKET_LOW,
    EventName.CONTACT,
    EventName.FINISH,
)
"""Events that can serve as knots. ``loading`` is left out: it may fall on either side of trophy."""


@dataclass(frozen=True, slots=True)
class Registration:
    """Shared events of two repetitions, as matching times in seconds."""

    events: tuple[EventName, ...]
    first_s: FloatArray
    second_s: FloatArray

    def to_time(self, phase: FloatArray, *, second: bool = False) -> FloatArray:
        """Return the times of phases. NaN outside 0 .. number of events - 1."""
        knots = self.second_s if second else self.first_s
        return np.interp(phase, np.arange(len(knots)), knots, left=np.nan, right=np.nan)


def register(
    first: Mapping[EventName, Event], second: Mapping[EventName, Event]
) -> Registration | None:
    """Match two repetitions at the events both have. None with fewer than two shared events."""
    shared: list[EventName] = []
    for name in ORDER:
        if name not in first or name not in second:
            continue
        if shared and (
            first[name].time_s <= first[shared[-1]].time_s
            or second[name].time_s <= second[shared[-1]].time_s
        ):
            continue
        shared.append(name)
    if len(shared) < 2:
        return None
    return Registration(
        events=tuple(shared),
        first_s=np.array([first[name].time_s for name in shared]),
        second_s=np.array([second[name].time_s for name in shared]),
    )
