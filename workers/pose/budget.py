"""How often each network looks: always around the hit, seldom where the body stands or walks off.

What the engine reads is fast for half a second about the hit and slow elsewhere: its own instants
are 31 a second apart from fast wrists. The second network measures where the first is unsure; how
they differ changes slowly (`carry`), so it looks less often.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from workers.pose.frames import Stretch

EARLY = 0.1
"""A frame may come so much of an interval before it is due: frame times are no multiples of it."""


@dataclass(frozen=True, slots=True)
class Zone:
    """Looks a second by each network near a fast stretch, from so long before to so long after."""

    before_s: float
    after_s: float
    first_hz: float
    second_hz: float


ZONES = (
    Zone(0.5, 0.25, np.inf, np.inf),
    Zone(1.3, 0.5, 60.0, 60.0),
    Zone(np.inf, np.inf, 30.0, 15.0),
)
"""The first that holds counts."""


class Budget:
    """Says, frame after frame in order, which networks look at it.

    Parameters
    ----------
    fast : sequence of (from, to), optional
        Where the body is fastest, seconds. None = both networks look at every frame.
    """

    def __init__(self, fast: Sequence[Stretch] | None) -> None:
        self._fast = fast
        self._last = [-np.inf, -np.inf]

    def at(self, time_s: float) -> tuple[bool, bool]:
        """Tell whether the first network looks at this frame, and whether the second does, too."""
        if self._fast is None:
            return True, True
        zone = next(zone for zone in ZONES if self._within(zone, time_s))
        first = self._due(0, time_s, zone.first_hz)
        return first, first and self._due(1, time_s, zone.second_hz)

    def _within(self, zone: Zone, time_s: float) -> bool:
        assert self._fast is not None
        return np.isinf(zone.before_s) or any(
            start - zone.before_s <= time_s <= stop + zone.after_s for start, stop in self._fast
        )

    def _due(self, network: int, time_s: float, rate_hz: float) -> bool:
        due = time_s - self._last[network] >= (1.0 - EARLY) / rate_hz
        if due:
            self._last[network] = time_s
        return bool(due)
