"""What the pose stage needs from a decoder. It imports none."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt

Picture = npt.NDArray[np.uint8]
"""Shape (height, width, 3), RGB."""

FloatArray = npt.NDArray[np.floating[Any]]


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


FrameSource = Callable[[], Iterable[Frame]]
"""Each call starts again at the first frame: the film is read twice, never held in memory."""
