"""What the pose stage needs from a decoder. It imports none."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt

Picture = npt.NDArray[np.uint8]
"""Shape (height, width, 3), RGB."""

FloatArray = npt.NDArray[np.floating[Any]]

Stretch = tuple[float, float]
"""From and to, seconds on the clip's timestamps, both included."""


class Frame(Protocol):
    """One decoded frame, upright."""

    @property
    def index(self) -> int:
        """Index of the frame in the clip."""

    @property
    def time_s(self) -> float:
        """The frame's own timestamp, seconds."""

    @property
    def rgb(self) -> Picture:
        """Pixels, shape (height, width, 3), RGB."""


class FrameSource(Protocol):
    """A film that can be read again and is never held in memory."""

    def __call__(self, stretches: Sequence[Stretch] | None = None, /) -> Iterable[Frame]:
        """Yield the frames in order: all of them, or those inside the stretches."""
