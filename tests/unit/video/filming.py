"""Makes small films for the tests, with PyAV (its FFmpeg is another build than OpenCV's).

Each frame carries its number as a grey level and four coloured corners, so that order and
orientation can be read back from the pixels.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
import numpy.typing as npt

Picture = npt.NDArray[np.uint8]

GREY_FIRST, GREY_STEP = 40, 3
CORNERS = {"top_left": (220, 40, 40), "top_right": (40, 200, 40), "bottom_left": (40, 40, 220)}

HLG, PQ = 18, 16
BT2020, DISPLAY_P3 = 9, 12
QUIET_X265 = {"x265-params": "log-level=none", "preset": "ultrafast", "crf": "16"}


@dataclass(frozen=True)
class Film:
    """How a film is made; ``ticks`` are display times in units of ``time_base``."""

    ticks: Sequence[int] = tuple(range(0, 30 * 3000, 3000))
    time_base: Fraction = Fraction(1, 90_000)
    size: tuple[int, int] = (160, 96)
    codec: str = "libx264"
    pixel_format: str = "yuv420p"
    rotation: int = 0
    transfer: int | None = None
    primaries: int | None = None
    b_frames: int = 2
    options: dict[str, str] = field(default_factory=lambda: {"crf": "16", "preset": "ultrafast"})
    mux: dict[str, str] = field(default_factory=dict)
    tags: dict[str, str] = field(default_factory=dict)
    noise: bool = False
    sound: bool = False


def picture(number: int, size: tuple[int, int], *, noise: bool = False) -> Picture:
    """Return frame ``number``, shape (height, width, 3), as stored (before rotation)."""
    width, height = size
    image = np.full((height, width, 3), GREY_FIRST + GREY_STEP * number % 180, np.uint8)
    if noise:
        rng = np.random.default_rng(number)
        image[height // 3 :] = rng.integers(0, 255, (height - height // 3, width, 3))
    h, w = height // 4, width // 4
    image[:h, :w] = CORNERS["top_left"]
    image[:h, -w:] = CORNERS["top_right"]
    image[-h:, :w] = CORNERS["bottom_left"]
    return image


def number_of(rgb: Picture) -> int:
    """Return the number painted on an upright frame without noise."""
    height, width = rgb.shape[:2]
    centre = rgb[height // 2 - 4 : height // 2 + 4, width // 2 - 4 : width // 2 + 4]
    return round((float(centre.mean()) - GREY_FIRST) / GREY_STEP)


def shoot(path: Path, film: Film | None = None) -> Path:
    """Write a film and return its path."""
    film = film or Film()
    with av.open(str(path), "w", options=film.mux) as container:
        container.metadata.update(film.tags)
        stream = container.add_stream(film.codec, rate=30, options=dict(film.options))
        stream.width, stream.height = film.size
        stream.pix_fmt = film.pixel_format
        stream.codec_context.time_base = film.time_base
        stream.codec_context.gop_size = 10
        if "265" not in film.codec and film.codec != "libvpx-vp9":
            stream.codec_context.max_b_frames = film.b_frames
        if film.transfer is not None:
            stream.codec_context.color_trc = film.transfer
        if film.primaries is not None:
            stream.codec_context.color_primaries = film.primaries
        if film.rotation:
            stream.set_display_rotation(film.rotation)
        if film.sound:
            _add_sound(container)
        for number, tick in enumerate(film.ticks):
            frame = av.VideoFrame.from_ndarray(
                picture(number, film.size, noise=film.noise), "rgb24"
            )
            frame.pts, frame.time_base = tick, film.time_base
            container.mux(stream.encode(frame))
        container.mux(stream.encode())
    return path


def record_sound(path: Path) -> Path:
    """Write a file with sound and no picture."""
    with av.open(str(path), "w") as container:
        _add_sound(container)
    return path


def _add_sound(container: Any) -> None:
    """Write two seconds of silence, longer than most of the films here."""
    stream = container.add_stream("aac", rate=8000)
    for number in range(16):
        frame = av.AudioFrame.from_ndarray(np.zeros((1, 1024), np.float32), "fltp", layout="mono")
        frame.rate, frame.pts = 8000, number * 1024
        container.mux(stream.encode(frame))
    container.mux(stream.encode())


def shoot_nothing(path: Path) -> Path:
    """Write a film with a picture track and no frames in it."""
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libx264", rate=30)
        stream.width, stream.height, stream.pix_fmt = 64, 48, "yuv420p"
        container.start_encoding()
    return path


def overwrite(path: Path, start: float, length: float, seed: int = 1) -> Path:
    """Fill a part of the media data with noise; both numbers are shares of that data."""
    data = bytearray(path.read_bytes())
    at = data.index(b"mdat")
    size = int.from_bytes(data[at - 4 : at], "big") - 8
    first, count = at + 4 + int(size * start), int(size * length)
    noise = np.random.default_rng(seed).integers(0, 256, count, dtype=np.uint8)
    data[first : first + count] = noise.tobytes()
    path.write_bytes(data)
    return path


def trim(path: Path, ticks: int) -> Path:
    """Hide the first ``ticks`` of an MP4 by its edit list, as a phone's trim tool does."""
    data = bytearray(path.read_bytes())
    at = data.index(b"elst") + 4
    assert data[at : at + 8] == bytes([0, 0, 0, 0, 0, 0, 0, 1]), "version 0, one edit"
    media_time = int.from_bytes(data[at + 12 : at + 16], "big")
    data[at + 12 : at + 16] = (media_time + ticks).to_bytes(4, "big")
    path.write_bytes(data)
    return path


def referee(path: Path) -> list[tuple[float, Picture]]:
    """Return time from the first frame and upright pixels of each frame, decoded by PyAV."""
    frames = []
    with av.open(str(path)) as container:
        for frame in container.decode(video=0):
            assert frame.pts is not None
            assert frame.time_base is not None
            pixels = np.rot90(frame.to_ndarray(format="rgb24"), round(frame.rotation / 90))
            frames.append((float(frame.pts * frame.time_base), pixels))
    start = frames[0][0]
    return [(time_s - start, pixels) for time_s, pixels in frames]
