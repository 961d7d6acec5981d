"""Writes H.264 films: even or uneven frame times, slow-motion files, a rotation flag."""

from __future__ import annotations

import struct
from fractions import Fraction
from pathlib import Path
from types import TracebackType

import av
import numpy as np

from .clips import ClipSpec
from .rotation import Array

_TICKS = 90_000


class Encoder:
    """Context manager that writes the frames of a clip in order.

    The file's clock runs `slow_motion` times slower than life, and a `rotation` of 90 stores the
    picture turned and sets the display matrix, as phones do.
    """

    def __init__(self, path: Path, spec: ClipSpec, times: Array):
        self.path, self.spec = path, spec
        self.stamps = [round(float(t) * spec.slow_motion * _TICKS) for t in times]
        self.container = av.open(str(path), mode="w", format="mp4")
        rate = Fraction(spec.fps / spec.slow_motion).limit_denominator(1001)
        self.stream = self.container.add_stream("libx264", rate=rate)
        width, height = spec.size if spec.rotation % 180 == 0 else spec.size[::-1]
        self.stream.width, self.stream.height = width, height
        self.stream.pix_fmt = "yuv420p"
        self.stream.time_base = Fraction(1, _TICKS)
        self.stream.codec_context.time_base = Fraction(1, _TICKS)
        # one thread, for what the encoder looks ahead at too: the same bytes every time
        self.stream.options = {
            "crf": str(spec.crf),
            "preset": "veryfast",
            "threads": "1",
            "x264-params": "lookahead-threads=1:sync-lookahead=0",
            "bf": "0",
        }
        self.count = 0

    def __enter__(self) -> Encoder:
        return self

    def write(self, picture: np.ndarray) -> None:
        """Append one RGB frame (height, width, 3) as displayed."""
        if self.spec.rotation == 90:
            picture = np.ascontiguousarray(np.rot90(picture))
        frame = av.VideoFrame.from_ndarray(picture, format="rgb24")
        frame.pts = self.stamps[self.count]
        frame.time_base = Fraction(1, _TICKS)
        self.count += 1
        for packet in self.stream.encode(frame):
            self.container.mux(packet)

    def __exit__(
        self,
        kind: type[BaseException] | None,
        value: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if kind is None:
            for packet in self.stream.encode():
                self.container.mux(packet)
        self.container.close()
        if kind is None and self.spec.rotation:
            set_rotation(self.path, self.spec.rotation)


def set_rotation(path: Path, degrees: int) -> None:
    """Write a display matrix into the track header (ISO/IEC 14496-12, `tkhd`): a 90-degree turn."""
    if degrees != 90:
        raise ValueError("only a rotation of 90 degrees is written")
    data = bytearray(path.read_bytes())
    at = data.find(b"tkhd")
    # version 0: 4 type, 4 flags, 20 times and ids, 8 reserved, 8 layer..., then nine 4-byte numbers
    start = at + 4 + 4 + 20 + 8 + 8
    one = 1 << 16
    data[start : start + 36] = struct.pack(">9i", 0, one, 0, -one, 0, 0, 0, 0, 1 << 30)
    path.write_bytes(bytes(data))
