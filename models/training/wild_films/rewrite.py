"""Reads the frames of a film and writes others."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import av
import numpy as np

from models.training.rendered.camera import CameraSpec
from models.training.rendered.clips import ClipSpec
from models.training.rendered.encode import Encoder
from models.training.rendered.knobs import sample_knobs

from .faults import Pictures, Times


def read(path: Path) -> tuple[Pictures, Times]:
    """Return all frames (T, H, W, 3) and their times, seconds from the first."""
    pictures, times = [], []
    with av.open(str(path)) as container:
        for frame in container.decode(video=0):
            pictures.append(frame.to_ndarray(format="rgb24"))
            times.append(float(frame.time or 0.0))
    shown = np.array(times, np.float64)
    return np.stack(pictures), shown - shown[0]


def write(path: Path, pictures: Pictures, times: Times, crf: int) -> None:
    """Write frames as H.264, whole or not at all."""
    fps = 1.0 / float(np.median(np.diff(times)))
    knobs = sample_knobs(np.random.default_rng(0))
    camera = CameraSpec(azimuth=90.0, height=1.0, distance=8.0)
    spec = ClipSpec(path.stem, "serve", 0, knobs, camera)
    spec = replace(spec, fps=fps, size=(pictures.shape[2], pictures.shape[1]), crf=crf)
    part = path.with_suffix(".part.mp4")
    with Encoder(part, spec, times - times[0]) as encoder:
        for picture in pictures:
            encoder.write(picture)
    part.replace(path)
