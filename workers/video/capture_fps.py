"""Real time of a film that plays slower or faster than it was filmed.

A slow-motion file may hold 240 pictures for each real second on a time line of 30 pictures a
second. Then ``real time = file time * file rate / capture rate``. The capture rate comes from the
caller, or from a tag the camera wrote into the file; it is never guessed from the pictures.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from models.contract.errors import FrameRateDoubtful, InvalidRequest
from models.contract.note_codes import NoteCode, say

CAPTURE_RATE_TAGS: tuple[str, ...] = (
    "com.android.capture.fps",
    "com.apple.quicktime.capture-rate",
    "com.apple.quicktime.camera.framereatepersecond",
)
"""Metadata keys that state the rate of capture, lower case. The first is written by Android's
media recorder (its ``KEY_CAPTURE_RATE``: "when capture rate is different than the frame rate ...
slow motion"). The Apple keys are from memory; Apple's own slow-motion files are written on a
real-time line and need no scaling."""

RESTATED = 1.25
"""A tag within this factor of the file's mean rate only restates it (nominal against measured
rate); the nearest slow motion is a factor of 2."""

HIGHEST_RATE = 10_000.0
"""Greatest rate of capture that is believed, frames per second (working value)."""


@dataclass(frozen=True, slots=True)
class TimeScale:
    """How file time becomes real time.

    Attributes
    ----------
    factor : float
        Real seconds per file second.
    frame_rate : float
        Mean capture rate, frames per real second.
    source : str
        ``file`` (the file's own time line), ``given`` (by the caller) or ``tag``.
    """

    factor: float
    frame_rate: float
    source: Literal["file", "given", "tag"]

    def problem(self) -> FrameRateDoubtful | None:
        """Return the problem to state when times rest on a tag of the file."""
        if self.source != "tag":
            return None
        return FrameRateDoubtful(
            say(
                NoteCode.SLOW_MOTION_SCALED,
                filmed=self.frame_rate,
                played=self.frame_rate * self.factor,
            ),
            capture_fps=self.frame_rate,
            factor=self.factor,
        )


def tagged_rate(tags: Mapping[str, str]) -> float | None:
    """Return the capture rate a file states in its metadata, or None.

    Parameters
    ----------
    tags : mapping
        Metadata of container and stream; keys in any case.
    """
    lower = {key.lower(): value for key, value in tags.items()}
    for key in CAPTURE_RATE_TAGS:
        try:
            rate = float(lower[key])
        except (KeyError, ValueError):
            continue
        if math.isfinite(rate) and 0 < rate <= HIGHEST_RATE:
            return rate
    return None


def time_scale(
    file_rate: float, *, given: float | None = None, tags: Mapping[str, str] | None = None
) -> TimeScale:
    """Return how to scale the times of a file.

    Parameters
    ----------
    file_rate : float
        Mean frame rate on the file's own time line, frames per second.
    given : float, optional
        Capture rate the caller states; it wins over the file.
    tags : mapping, optional
        Metadata of the file.

    Raises
    ------
    InvalidRequest
        When ``given`` is not a rate (positive, finite, at most 10 000).

    Examples
    --------
    >>> time_scale(30.0, given=240.0)
    TimeScale(factor=0.125, frame_rate=240.0, source='given')
    >>> time_scale(29.97, tags={"com.android.capture.fps": "30"}).source
    'file'
    """
    if given is not None:
        if not (math.isfinite(given) and 0 < given <= HIGHEST_RATE):
            raise InvalidRequest(say(NoteCode.CAPTURE_FPS_RANGE, limit=HIGHEST_RATE))
        return TimeScale(file_rate / given, given, "given")
    rate = tagged_rate(tags or {})
    if rate is not None and not 1 / RESTATED <= rate / file_rate <= RESTATED:
        return TimeScale(file_rate / rate, rate, "tag")
    return TimeScale(1.0, file_rate, "file")
