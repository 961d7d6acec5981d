"""A hold watched live: pictures in, readings out. Nothing of a picture is kept but landmarks."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from models.contract.tracks import FloatArray, JointTrack
from models.contract.vocabulary import Handedness
from workers.engine.calibration import Calibration
from workers.engine.live import STANCE_S, HoldNow, hold_now
from workers.pose.frames import Frame
from workers.pose.live import LiveLook
from workers.pose.rows import Row

EVERY_S = 0.12
"""Least time between two readings, seconds: over seven a second where pictures come in time."""
LOOKS_A_SECOND = 15.0
"""Pictures a second that are looked at; others are passed over (working value: the lift trusts no
gap over 0.1 s)."""
MEMORY_S = 4.0
"""Landmarks of so long are kept beside those of the stance, seconds (working value)."""
BRIDGE_S = 0.1
"""What is forgotten between stance and now counts as so long a gap, seconds."""
GOAL = 0.6
"""Share over the rear foot from which time counts as held: the limit of the timed metrics."""
LOST_S = 0.5
"""After so long without the person a new stance is waited for, seconds."""


@dataclass(frozen=True, slots=True)
class HoldReading:
    """A reading, and how long the goal has been kept without a break, seconds."""

    now: HoldNow
    held_s: float


@dataclass
class LiveHold:
    """One hold after another before one camera."""

    look: LiveLook
    lift: Callable[[FloatArray], FloatArray]
    errors: Calibration
    handedness: Handedness = Handedness.RIGHT
    goal: float = GOAL
    azimuth_deg: float = 90.0
    _rows: list[Row] = field(default_factory=list)
    _size: tuple[int, int] = (0, 0)
    _look_due: float = float("-inf")
    _told_s: float = float("-inf")
    _held_s: float = 0.0
    _over_since: float | None = None

    def show(self, frame: Frame) -> HoldReading | None:
        """Take the next picture; return a reading when one is due and there is something to tell.

        Pictures must come in order of time.
        """
        if frame.time_s < self._look_due:
            return None
        self._look_due = frame.time_s + 1.0 / LOOKS_A_SECOND - 1e-3
        row = self.look.look(frame)
        self._size = (frame.rgb.shape[1], frame.rgb.shape[0])
        if not np.isfinite(row.blaze).all():
            if self._rows and frame.time_s - self._rows[-1].time_s > LOST_S:
                self.forget()
            return None
        self._rows.append(row)
        self._drop()
        if frame.time_s < self._told_s + EVERY_S - 1e-3:
            return None
        now = hold_now(self._track(), self.handedness, self.lift, self.errors, self.azimuth_deg)
        if now is None:
            return None
        self._told_s = frame.time_s
        return HoldReading(now, self._held(now.share, frame.time_s))

    def forget(self) -> None:
        """Begin anew, with the next stance."""
        self._rows.clear()
        self._over_since = None

    def _held(self, share: float | None, time_s: float) -> float:
        if share is None or share < self.goal:
            self._over_since = None
            return 0.0
        if self._over_since is None:
            self._over_since = time_s
        return round(time_s - self._over_since, 2)

    def _drop(self) -> None:
        """Forget what is neither stance nor recent."""
        first, last = self._rows[0].time_s, self._rows[-1].time_s
        self._rows = [
            row
            for row in self._rows
            if row.time_s <= first + STANCE_S or row.time_s >= last - MEMORY_S
        ]

    def _track(self) -> JointTrack:
        """The landmarks that are kept, what was forgotten closed up."""
        time_s = np.array([row.time_s for row in self._rows])
        steps = np.diff(time_s)
        steps[steps > LOST_S] = BRIDGE_S
        closed = time_s[-1] - np.append(np.cumsum(steps[::-1])[::-1], 0.0)
        blaze = np.stack([row.blaze for row in self._rows])
        networks = self.look.networks
        sources = {networks.names[0]: blaze}
        if networks.movenet is not None:
            sources[networks.names[1]] = np.stack([row.second for row in self._rows])
        return JointTrack(
            time_s=closed,
            frame_index=np.array([row.index for row in self._rows], np.int64),
            xy=blaze[..., :2],
            xy_raw=blaze[..., :2],
            confidence=blaze[..., 2],
            world=np.stack([row.world for row in self._rows]),
            score=np.array([row.score for row in self._rows]),
            disagreement_px=np.full(blaze.shape[:2], np.nan),
            width=self._size[0],
            height=self._size[1],
            people=np.ones(len(self._rows), np.int64),
            sources=sources,
        )
