"""Upright RGB frames with their true times, by OpenCV's FFmpeg reader on one thread.

Runs in the decoder process; `workers.video.clip` is the safe way in. Rules, each measured on
OpenCV 5.0: the time of a frame is ``POS_MSEC`` read *after* its grab, checked against the times in
the container; the reader says "no more" at the first damaged packet although it goes on when asked
again; it never reports an error of its own, so frames are counted.
"""

from __future__ import annotations

import os
from bisect import bisect_left
from collections.abc import Iterator
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from models.contract.errors import ClipDamaged, ClipResolutionTooHigh
from workers.video.limits import DecodeLimits
from workers.video.probe import DEMUXERS, PROTOCOLS, Probe
from workers.video.tone import tone_curve

Picture = npt.NDArray[np.uint8]


class Decoder:
    """Reads one film from its first frame to its last.

    Parameters
    ----------
    path : str
        File to read.
    found : Probe
        Its facts.
    limits : DecodeLimits
    longest_side : int, optional
        Scale pictures down so that neither side is longer, pixels.

    Attributes
    ----------
    rotation_deg : int
        Clockwise turn that makes the stored picture upright: 0, 90, 180, 270.
    width, height : int
        Of the upright, scaled picture, pixels.
    gaps : list of tuple (float, float, int)
        Runs of lost frames met so far: seconds of the readable frame before, of the one after
        (the end of the film when there is none), and how many are missing between them.

    Raises
    ------
    ClipDamaged
        When the reader cannot open the film.
    ClipResolutionTooHigh
        When the decoder sees a larger picture than the container stated, above the limit.
    """

    def __init__(
        self, path: str, found: Probe, limits: DecodeLimits, *, longest_side: int | None = None
    ) -> None:
        # Process-wide, read by OpenCV at each open.
        os.environ["OPENCV_FFMPEG_CAPTURE_OPTIONS"] = (
            f"protocol_whitelist;{PROTOCOLS}|format_whitelist;{DEMUXERS[found.demuxer]}"
        )
        self._reader: Any = cv2.VideoCapture(path, cv2.CAP_FFMPEG, [cv2.CAP_PROP_N_THREADS, 1])
        if not self._reader.isOpened():
            raise ClipDamaged()
        if self._reader.get(cv2.CAP_PROP_ORIENTATION_AUTO) != 1:
            raise RuntimeError("OpenCV would not turn pictures upright")
        self._found = found
        self._curve = None if found.transfer is None else tone_curve(found.transfer)
        self.rotation_deg = int(self._reader.get(cv2.CAP_PROP_ORIENTATION_META)) % 360
        width = int(self._reader.get(cv2.CAP_PROP_FRAME_WIDTH))
        height = int(self._reader.get(cv2.CAP_PROP_FRAME_HEIGHT))
        if width <= 0 or height <= 0:
            raise ClipDamaged()
        if width * height > limits.pixels:
            raise ClipResolutionTooHigh()
        self._full = (height, width)
        scale = 1.0 if longest_side is None else min(1.0, longest_side / max(width, height))
        self.width, self.height = max(1, round(width * scale)), max(1, round(height * scale))
        self.gaps: list[tuple[float, float, int]] = []

    def __iter__(self) -> Iterator[tuple[int, float]]:
        """Grab frame after frame; yield its index and its time in seconds from the first frame.

        Frames without a place in the container's list of times, or not later than the one
        before, are skipped.
        """
        times, tolerance = self._found.times, max(self._found.tick_s, 1e-4)
        last, index, failures = -1, 0, 0
        while failures <= len(times) and last < len(times) - 1:
            if not self._reader.grab():
                failures += 1
                continue
            position = self._reader.get(cv2.CAP_PROP_POS_MSEC) / 1000
            place = _nearest(times, position)
            if abs(times[place] - position) > tolerance or place <= last:
                failures += 1
                continue
            self._note_gap(last, place)
            yield index, times[place] - times[0]
            last = place
            index += 1
        self._note_gap(last, len(times))

    def _note_gap(self, before: int, after: int) -> None:
        times = self._found.times
        if after - before > 1:
            start, end = times[max(before, 0)], times[min(after, len(times) - 1)]
            self.gaps.append((start - times[0], end - times[0], after - before - 1))

    def retrieve(self, out: Picture) -> bool:
        """Write the grabbed frame as RGB into ``out``, shape (height, width, 3).

        Returns False when the picture cannot be had or has another size than the film.
        """
        ok, picture = self._reader.retrieve()
        if not ok or picture is None or picture.shape != (*self._full, 3):
            return False
        if (self.height, self.width) != self._full:
            size = (self.width, self.height)
            picture = cv2.resize(picture, size, interpolation=cv2.INTER_AREA)
        cv2.cvtColor(picture, cv2.COLOR_BGR2RGB, dst=out)
        if self._curve is not None:
            cv2.LUT(out, self._curve, dst=out)
        return True

    def close(self) -> None:
        """Release the reader."""
        self._reader.release()


def _nearest(times: list[float], position: float) -> int:
    place = bisect_left(times, position)
    if place == len(times) or (
        place > 0 and position - times[place - 1] <= times[place] - position
    ):
        place -= 1
    return place
