"""Frame rates that mean something: two classes that err differently, enough, usual."""

from __future__ import annotations

from typing import Literal

LOW_RATE_FPS = 45.0
"""Films below so many frames a second are of the low class: a working value between the 30 and the
60 frames a second that phones film at. Calibration keeps a table for each class."""

GOOD_RATE_FPS = 50.0
"""Enough for posture and for the order of fast movements: 60 frames a second, less what phones
leave out (working value)."""

USUAL_RATE_FPS = 60.0
"""What the advice on filming asks for; the aims of accuracy are meant for this rate or more."""


def rate_class(fps: float) -> Literal["low", "usual"]:
    """Return the class of a film's frame rate."""
    return "low" if fps < LOW_RATE_FPS else "usual"
