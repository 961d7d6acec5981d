"""Which source frame is shown when: real time, slow about the events, still at each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from models.contract.tracks import FloatArray


@dataclass(frozen=True, slots=True)
class Pace:
    """How a film is slowed.

    Attributes
    ----------
    rate : int
        Frames per second of the film that is made.
    slow : float
        Speed within ``around_s`` seconds of an event, as a share of real time.
    around_s : float
    still_s : float
        How long the picture stands still at an event, seconds.
    """

    rate: int = 30
    slow: float = 0.25
    around_s: float = 0.2
    still_s: float = 0.8


@dataclass(frozen=True, slots=True)
class Showing:
    """One frame of the film: the clip's time it shows, and the event it stands at, if any."""

    time_s: float
    event: int | None


def showings(
    start_s: float, end_s: float, events_s: Sequence[float], pace: Pace | None = None
) -> list[Showing]:
    """Return what each frame of the film shows, in order; clip times never run back.

    Parameters
    ----------
    start_s, end_s : float
        Part of the clip to show, its own timestamps in seconds.
    events_s : sequence of float
        Times to slow down about and to stand still at, rising.

    Raises
    ------
    ValueError
        When the part is empty or an event lies outside it.
    """
    pace = pace or Pace()
    if not end_s > start_s:
        raise ValueError("the film would be empty")
    if any(not start_s <= event <= end_s for event in events_s):
        raise ValueError("an event lies outside the part shown")
    frames: list[Showing] = []
    step = 1 / pace.rate
    time_s, waiting = start_s, list(enumerate(events_s))
    while time_s <= end_s + 1e-9:
        frames.append(Showing(time_s, None))
        near = any(abs(time_s - event) < pace.around_s for event in events_s)
        following = time_s + step * (pace.slow if near else 1.0)
        while waiting and waiting[0][1] <= following:
            index, event = waiting.pop(0)
            still = max(1, round(pace.still_s * pace.rate))
            frames += [Showing(event, index)] * still
        time_s = following
    return frames


def nearest(times_s: FloatArray, wanted_s: FloatArray) -> list[int]:
    """Return the row of the nearest time for each wanted time; both rise."""
    right = np.clip(np.searchsorted(times_s, wanted_s), 1, max(len(times_s) - 1, 1))
    left = right - 1
    if len(times_s) == 1:
        return [0] * len(wanted_s)
    nearer_left = wanted_s - times_s[left] <= times_s[right] - wanted_s
    return [int(row) for row in np.where(nearer_left, left, right)]
