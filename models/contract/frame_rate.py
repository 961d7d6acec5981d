"""Two classes of frame rate: films of different classes err differently."""

from __future__ import annotations

from typing import Literal

LOW_RATE_FPS = 45.0
"""Films below so many frames a second are of the low class: a working value between the 30 and the
60 frames a second that phones film at. Calibration keeps a table for each class."""


def rate_class(fps: float) -> Literal["low", "usual"]:
    """Return the class of a film's frame rate."""
    return "low" if fps < LOW_RATE_FPS else "usual"
