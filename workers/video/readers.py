"""Two ways to read a film frame by frame, of one shape: OpenCV's FFmpeg reader and PyAV.

OpenCV reads ordinary film. Film in a wide colour space (HLG, PQ, BT.2020, Display P3: what phones
record by default) goes through PyAV, because OpenCV 5.0 colour-manages it inside: measured at
1080p, 14 frames per second against 145, with everything above diffuse white clipped. Both run in
the decoder process on one thread and may open no address.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from typing import Any, Protocol

import av
import av.error
import cv2
import numpy as np
import numpy.typing as npt

from models.contract.errors import ClipDamaged
from workers.video.probe import DEMUXERS, PROTOCOLS, Probe

Picture = npt.NDArray[np.uint8]


class Reader(Protocol):
    """A film being read.

    ``rotation_deg`` is the clockwise turn that makes the stored picture upright; ``width`` and
    ``height`` are those of the upright picture.
    """

    rotation_deg: int
    width: int
    height: int

    def grab(self) -> bool:
        """Decode the next frame; False at damage (call again) and at the end."""
        ...

    def seek(self, time_s: float) -> bool:
        """Go to the last key frame before a time, seconds from the stream's start.

        The next grab decodes from there; a reader may have decoded some frames on already. False
        when the film does not allow it.
        """
        ...

    def position_s(self) -> float:
        """Return the time of the grabbed frame, seconds from the stream's start."""
        ...

    def retrieve(self, out: Picture) -> bool:
        """Write the grabbed frame, upright RGB, into ``out``, shape (height, width, 3).

        False when it cannot be had or has another size.
        """
        ...

    def close(self) -> None:
        """Release the film."""
        ...


def open_reader(path: str, found: Probe) -> Reader:
    """Return the reader that suits the colours of a film.

    Raises
    ------
    ClipDamaged
        When the film cannot be opened.
    """
    return PyAvReader(path, found) if found.wide_colour else OpenCvReader(path, found)


class OpenCvReader:
    """OpenCV. Times must be read after the grab; before it they are the previous frame's."""

    def __init__(self, path: str, found: Probe) -> None:
        # Process-wide, read by OpenCV at each open.
        os.environ["OPENCV_FFMPEG_CAPTURE_OPTIONS"] = (
            f"protocol_whitelist;{PROTOCOLS}|format_whitelist;{DEMUXERS[found.demuxer]}"
        )
        self._film: Any = cv2.VideoCapture(path, cv2.CAP_FFMPEG, [cv2.CAP_PROP_N_THREADS, 1])
        if not self._film.isOpened():
            raise ClipDamaged()
        if self._film.get(cv2.CAP_PROP_ORIENTATION_AUTO) != 1:
            raise RuntimeError("OpenCV would not turn pictures upright")
        self.rotation_deg = int(self._film.get(cv2.CAP_PROP_ORIENTATION_META)) % 360
        self.width = int(self._film.get(cv2.CAP_PROP_FRAME_WIDTH))
        self.height = int(self._film.get(cv2.CAP_PROP_FRAME_HEIGHT))

    def grab(self) -> bool:
        """Decode the next frame."""
        return bool(self._film.grab())

    def seek(self, time_s: float) -> bool:
        """Go there; OpenCV decodes from the key frame on by itself, and may land later."""
        return bool(self._film.set(cv2.CAP_PROP_POS_MSEC, time_s * 1000))

    def position_s(self) -> float:
        """Return the time of the grabbed frame."""
        return float(self._film.get(cv2.CAP_PROP_POS_MSEC)) / 1000

    def retrieve(self, out: Picture) -> bool:
        """Write the grabbed frame into ``out``."""
        ok, picture = self._film.retrieve()
        if not ok or picture is None or picture.shape != out.shape:
            return False
        cv2.cvtColor(picture, cv2.COLOR_BGR2RGB, dst=out)
        return True

    def close(self) -> None:
        """Release the film."""
        self._film.release()


class PyAvReader:
    """PyAV. Colour values come out as stored (after the matrix), for a tone curve to follow."""

    _frame: Any

    def __init__(self, path: str, found: Probe) -> None:
        options = {"protocol_whitelist": PROTOCOLS, "format_whitelist": DEMUXERS[found.demuxer]}
        self._film: Any = av.open(
            path, format=found.demuxer, options=options, metadata_errors="replace"
        )
        self._stream: Any = self._film.streams.video[0]
        self._stream.codec_context.thread_count = 1
        self._start = int(self._stream.start_time or 0)
        self._packets: Iterator[Any] = iter(self._film.demux(self._stream))
        self._ready: list[Any] = []
        # The turn is known from the first frame only; it is kept for the first grab.
        if not any(self.grab() for _ in range(len(found.times) + 2)):
            raise ClipDamaged()
        self._ready.insert(0, self._frame)
        self.rotation_deg: int = -int(self._frame.rotation) % 360
        upright = self.rotation_deg % 180 == 0
        size = (int(self._frame.width), int(self._frame.height))
        self.width, self.height = size if upright else size[::-1]

    def grab(self) -> bool:
        """Decode the next frame."""
        try:
            while not self._ready:
                packet = next(self._packets, None)
                if packet is None:
                    return False
                self._ready = list(packet.decode())
        except av.error.MemoryError as error:
            raise MemoryError from error
        except av.error.FFmpegError:
            return False
        self._frame = self._ready.pop(0)
        return True

    def seek(self, time_s: float) -> bool:
        """Go to the key frame before."""
        try:
            stamp = self._start + round(time_s / float(self._stream.time_base))
            self._film.seek(stamp, stream=self._stream, backward=True)
        except av.error.FFmpegError:
            return False
        self._packets = iter(self._film.demux(self._stream))
        self._ready = []
        return True

    def position_s(self) -> float:
        """Return the time of the grabbed frame; NaN when it has none."""
        if self._frame.pts is None:
            return float("nan")
        return float((self._frame.pts - self._start) * self._stream.time_base)

    def retrieve(self, out: Picture) -> bool:
        """Write the grabbed frame into ``out``."""
        try:
            picture = self._frame.to_ndarray(format="rgb24")
        except av.error.MemoryError as error:
            raise MemoryError from error
        except av.error.FFmpegError:
            return False
        picture = np.rot90(picture, -(self.rotation_deg // 90))
        if picture.shape != out.shape:
            return False
        np.copyto(out, picture)
        return True

    def close(self) -> None:
        """Release the film."""
        self._film.close()
