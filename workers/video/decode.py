"""Upright RGB frames with their true places in time.

Runs in the decoder process; `workers.video.clip` is the safe way in. A decoder library says "no
more" at the first damaged packet although it goes on when asked again, may hand out frames in a
wrong order after damage, and never reports a loss of its own. So each frame's time is looked up
among the times in the container, what has no place there is left out, and gaps are counted.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence

import cv2
import numpy as np

from models.contract.errors import ClipDamaged, ClipResolutionTooHigh
from workers.video.limits import DecodeLimits
from workers.video.probe import Probe
from workers.video.readers import Picture, open_reader
from workers.video.tone import tone_curve

LEAD_IN = 16
"""A jump aims so many frames before the wanted one: the first pictures after a key frame may refer
to what lies before it and then cannot be decoded, and a reader may land a little late."""


class Decoder:
    """Reads one film: from its first frame to its last, or only some of its frames.

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
        self._path = path
        self._reader = open_reader(path, found)
        self._found = found
        self._curve = None if found.transfer is None else tone_curve(found.transfer)
        self.rotation_deg = self._reader.rotation_deg
        width, height = self._reader.width, self._reader.height
        if width <= 0 or height <= 0:
            raise ClipDamaged()
        if width * height > limits.pixels:
            raise ClipResolutionTooHigh()
        scale = 1.0 if longest_side is None else min(1.0, longest_side / max(width, height))
        self.width, self.height = max(1, round(width * scale)), max(1, round(height * scale))
        scaled = (self.height, self.width) != (height, width)
        self._scratch = np.empty((height, width, 3), np.uint8) if scaled else None
        self.gaps: list[tuple[float, float, int]] = []

    def __iter__(self) -> Iterator[tuple[int, float]]:
        """Grab frame after frame; yield its index and its time in seconds from the first frame.

        Frames without a place in the container's list of times, or not later than the one
        before, are skipped.
        """
        times = self._found.times
        last, index, failures = -1, 0, 0
        while failures <= len(times) and last < len(times) - 1:
            place = self._grab()
            if place is None or place <= last:
                failures += 1
                continue
            self._note_gap(last, place)
            yield index, times[place] - times[0]
            last = place
            index += 1
        self._note_gap(last, len(times))

    def at(self, wanted: Sequence[float]) -> Iterator[int]:
        """Grab only the frames at some times; yield which of the wanted ones each is.

        Jumps over what lies between by the film's key frames. The film is read through instead
        once a jump has landed too late or nowhere. Times at which there is no frame, or a damaged
        one, are left out.

        Parameters
        ----------
        wanted : sequence of float
            Seconds from the first frame, rising.
        """
        times, tolerance = self._found.times, max(self._found.tick_s, 1e-4)
        last, failures, jumps = -1, 0, True
        for number, time_s in enumerate(wanted):
            place = _nearest(times, times[0] + time_s)
            if abs(times[place] - times[0] - time_s) > tolerance or place <= last:
                continue
            landed = not (jumps and self._jump(last, place))
            while last < place and failures <= len(times):
                now = self._grab()
                if not landed and (now is None or now > place):
                    jumps, landed, last = False, True, -1
                    self._reader.close()
                    self._reader = open_reader(self._path, self._found)
                elif now is None or (landed and now <= last):
                    failures += 1
                else:
                    landed, last = True, now
            if last == place:
                yield number

    def _jump(self, last: int, place: int) -> bool:
        """Go to a key frame well before a place, if one lies between it and the last frame."""
        target = max(0, place - LEAD_IN)
        keys = self._found.keys
        before = bisect_right(keys, target) - 1
        if before < 0 or keys[before] <= last + LEAD_IN:
            return False
        return self._reader.seek(self._found.times[target])

    def _grab(self) -> int | None:
        """Decode the next frame; return its place among the times, None without one."""
        if not self._reader.grab():
            return None
        times, position = self._found.times, self._reader.position_s()
        place = _nearest(times, position)
        tolerance = max(self._found.tick_s, 1e-4)
        return place if abs(times[place] - position) <= tolerance else None

    def _note_gap(self, before: int, after: int) -> None:
        times = self._found.times
        if after - before > 1:
            start, end = times[max(before, 0)], times[min(after, len(times) - 1)]
            self.gaps.append((start - times[0], end - times[0], after - before - 1))

    def retrieve(self, out: Picture) -> bool:
        """Write the grabbed frame as RGB into ``out``, shape (height, width, 3).

        Returns False when the picture cannot be had or has another size than the film.
        """
        full = out if self._scratch is None else self._scratch
        if not self._reader.retrieve(full):
            return False
        if self._scratch is not None:
            size = (self.width, self.height)
            cv2.resize(self._scratch, size, dst=out, interpolation=cv2.INTER_AREA)
        if self._curve is not None:
            cv2.LUT(out, self._curve, dst=out)
        return True

    def close(self) -> None:
        """Release the reader."""
        self._reader.close()


def _nearest(times: list[float], position: float) -> int:
    place = bisect_left(times, position)
    if place == len(times) or (
        place > 0 and position - times[place - 1] <= times[place] - position
    ):
        place -= 1
    return place
