"""What an attempt takes of the processor: this process, and the children it has waited for."""

from __future__ import annotations

import os


class ProcessorMeter:
    """Counts from when it is made. A worker does one attempt at a time, so all of it is its."""

    def __init__(self) -> None:
        self._began = _now()

    def spent_s(self) -> float:
        """Return the processor time since then, user and system, seconds."""
        return _now() - self._began


def _now() -> float:
    times = os.times()
    return times.user + times.system + times.children_user + times.children_system
