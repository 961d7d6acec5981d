"""Short films, each unlike the others."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import av
import numpy as np


def empty_court(path: Path, seed: int) -> Path:
    """Write a third of a second of an empty court: what a run costs is the machinery around it."""
    noise = np.random.default_rng(seed)
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libx264", rate=Fraction(30), options={"preset": "ultrafast"})
        stream.width, stream.height, stream.pix_fmt = 320, 240, "yuv420p"
        for _ in range(10):
            picture = noise.integers(90, 130, (240, 320, 3), dtype=np.uint8)
            container.mux(stream.encode(av.VideoFrame.from_ndarray(picture, format="rgb24")))
        container.mux(stream.encode(None))
    return path
