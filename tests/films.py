"""Small films made in the test run, and the way to hand one to the service without HTTP."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
import numpy.typing as npt

from models.contract.resources import AnalysisOptions, AnalysisRequest
from service.core.identifiers import new_id
from service.core.intake import Received
from service.core.principal import Principal
from service.core.wiring import Wiring

TESTER = Principal("key", "main", frozenset({"admin"}))

RENDERED = Path(__file__).resolve().parent / "data" / "rendered"
"""Rendered serves with exact ground truth (CC0)."""

Painter = Callable[[int], npt.NDArray[np.uint8]]


def empty_court(index: int, width: int = 320, height: int = 240) -> npt.NDArray[np.uint8]:
    """Return a picture without anybody: sky over ground with a line and some grain."""
    rng = np.random.default_rng(index)
    picture = np.zeros((height, width, 3), np.uint8)
    picture[: height // 2] = (150, 180, 220)
    picture[height // 2 :] = (60, 110, 80)
    picture[height * 2 // 3 : height * 2 // 3 + 3] = 240
    grain = rng.integers(-6, 7, picture.shape, dtype=np.int16)
    return np.clip(picture + grain, 0, 255).astype(np.uint8)


def write_film(
    path: Path,
    frames: int,
    *,
    rate: int = 30,
    paint: Painter = empty_court,
    codec: str = "libx264",
    pixel_format: str = "yuv420p",
    options: dict[str, str] | None = None,
) -> Path:
    """Write a film of painted frames."""
    with av.open(str(path), "w") as container:
        first = paint(0)
        fast = {"preset": "ultrafast"} if codec == "libx264" else {}
        stream = container.add_stream(codec, rate=Fraction(rate), options=fast | (options or {}))
        stream.width, stream.height = first.shape[1], first.shape[0]
        stream.pix_fmt = pixel_format
        for index in range(frames):
            picture = first if index == 0 else paint(index)
            container.mux(stream.encode(av.VideoFrame.from_ndarray(picture, format="rgb24")))
        container.mux(stream.encode(None))
    return path


def queue_film(wiring: Wiring, film: Path, options: dict[str, Any] | None = None) -> str:
    """Enter a film and an analysis of it; return the analysis. It is not enqueued."""
    clip_id = new_id("clip")
    data = film.read_bytes()
    digest = hashlib.sha256(data).hexdigest()
    wiring.objects.put_bytes(f"clips/{clip_id}/film", data, "video/mp4")
    clip = wiring.clips.register(TESTER, clip_id, Received(digest, len(data), "video/mp4")).clip
    return queue_analysis(wiring, clip.id, options)


def queue_analysis(wiring: Wiring, clip_id: str, options: dict[str, Any] | None = None) -> str:
    """Enter an analysis of a clip; return it. It is not enqueued."""
    body = AnalysisRequest(clip_id=clip_id, options=AnalysisOptions(**options or {}))
    with wiring.database.write() as session:
        return wiring.requests.analysis(session, TESTER, body).id
