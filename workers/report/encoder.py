"""Pictures to an H.264 film that plays in a browser."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
from PIL import Image


class Encoder:
    """Takes pictures of one size and keeps the film's packets."""

    def __init__(self, path: Path, size: tuple[int, int], rate: int, crf: int) -> None:
        # Moving the index to the front lets a browser start before it has the whole file.
        self._file = av.open(str(path), "w", format="mp4", options={"movflags": "+faststart"})
        self._stream = self._file.add_stream(
            "libx264", rate=rate, options={"crf": str(crf), "preset": "veryfast"}
        )
        self._stream.width, self._stream.height = size
        self._stream.pix_fmt = "yuv420p"
        self._stream.codec_context.thread_count = 1
        self._tick = Fraction(1, rate)
        self._size = size
        self._count = 0

    def add(self, picture: Image.Image, times: int = 1) -> None:
        """Append a picture, shown ``times`` frames long."""
        if picture.size != self._size:
            raise ValueError(f"picture is {picture.size}, the film {self._size}")
        pixels = np.asarray(picture.convert("RGB"))
        for _ in range(times):
            # The encoder holds frames back, so one frame must not be sent twice.
            frame = av.VideoFrame.from_ndarray(pixels, format="rgb24")
            frame.pts = self._count
            frame.time_base = self._tick
            self._file.mux(self._stream.encode(frame))
            self._count += 1

    def close(self) -> None:
        """Write what is left and close the file."""
        self._file.mux(self._stream.encode(None))
        self._file.close()


@contextmanager
def film(size: tuple[int, int], rate: int, crf: int = 24) -> Iterator[tuple[Encoder, list[bytes]]]:
    """Yield an encoder and a list that holds the film, an MP4 file, once the block has ended.

    Width and height must be even (chroma is stored at half size).
    """
    if size[0] % 2 or size[1] % 2:
        raise ValueError(f"width and height must be even, not {size}")
    with tempfile.TemporaryDirectory(prefix="film-") as folder:
        path = Path(folder) / "film.mp4"
        encoder = Encoder(path, size, rate, crf)
        made: list[bytes] = []
        yield encoder, made
        encoder.close()
        made.append(path.read_bytes())
