"""How often the full networks look: at every frame about the hit, seldom where the body is slow.

What the engine reads is fast for half a second about the hit; elsewhere its own instants are 31 a
second, and what it reads there (stance, toss, finish) changes slowly. Tried on rendered films with
frozen joints, six of them at 60 and 120 frames a second: with these zones every value and event
time is within half its standard error of looking at every frame; with full rate from half a second
before the hit to 0.2 s after it only, 99 % were. At 15 a second in stance and finish the set-up of
one of six films at 30 moved by two standard errors.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from workers.pose.frames import Stretch

EARLY = 0.02
"""Share by which the looks may come more often than stated: a film of nominally 30 frames a second
may have 30.1 (working value)."""


DUE = 0.55
"""From this share of a look on it is due: a little over a half, so that a film at twice the stated
rate loses every second frame."""


@dataclass(frozen=True, slots=True)
class Zone:
    """Looks a second near a fast stretch, from so long before to so long after it, seconds."""

    before_s: float
    after_s: float
    rate_hz: float


ZONES = (
    Zone(0.5, 0.25, np.inf),
    Zone(0.8, 0.4, 60.0),
    Zone(np.inf, np.inf, 30.0),
)
"""The first that holds counts."""


class Budget:
    """Says, frame after frame in order, which are looked at.

    Parameters
    ----------
    fast : sequence of (from, to), optional
        Where the body is fastest, seconds. None = every frame is looked at.
    """

    def __init__(self, fast: Sequence[Stretch] | None) -> None:
        self._fast = fast
        self._last = -np.inf
        self._due = 0.0

    def looks(self, time_s: float) -> bool:
        """Tell whether the networks look at this frame."""
        if self._fast is not None:
            zone = next(zone for zone in ZONES if self._within(zone, time_s))
            passed, self._last = time_s - self._last, time_s
            # Looks that are due are summed up and rounded: a telephone's intervals waver by a
            # third, and a film at the stated rate must not lose its shorter ones.
            self._due = min(1.0, self._due + passed * zone.rate_hz / (1.0 - EARLY))
            if self._due < DUE:
                return False
            self._due -= 1.0
        return True

    def _within(self, zone: Zone, time_s: float) -> bool:
        assert self._fast is not None
        return np.isinf(zone.before_s) or any(
            start - zone.before_s <= time_s <= stop + zone.after_s for start, stop in self._fast
        )
