"""The way into a film: facts at once, then upright RGB frames with real times.

::

    with open_clip(path) as clip:
        print(clip.facts.frame_rate, clip.total_frames)
        for frame in clip:
            ...                      # frame.rgb is valid until the next turn of the loop
        facts, problems = clip.final_facts(), clip.problems

Everything that touches the file's bytes happens in a limited process of its own
(`workers.video.sandbox`): a hostile film costs itself, not the worker.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import numpy as np
import numpy.typing as npt
from pydantic import ValidationError

from models.contract.clip import ClipFacts
from models.contract.errors import (
    ClipDamaged,
    ClipTooLarge,
    FramesLost,
    NotAVideo,
    ServewrightError,
)
from models.contract.note_codes import NoteCode, say
from workers.video.capture_fps import TimeScale, time_scale
from workers.video.limits import MIB, DecodeLimits
from workers.video.sandbox import DecoderProcess
from workers.video.sound import MOST


@dataclass(frozen=True, slots=True)
class DecodedFrame:
    """One picture of a film.

    Attributes
    ----------
    index : int
        Which of the decodable frames, from 0 (a gap means that a frame was lost).
    time_s : float
        Real seconds from the first frame.
    rgb : ndarray of uint8, shape (H, W, 3)
        Upright picture, read-only.
    """

    index: int
    time_s: float
    rgb: npt.NDArray[np.uint8]


class ClipStream:
    """A film being read, once, from its first frame to its last. Made by `open_clip`.

    Iteration yields `DecodedFrame`. ``rgb`` is a view into shared memory: it is valid until the
    next frame is asked for; copy what is kept longer.

    Attributes
    ----------
    facts : ClipFacts
        From the container; ``frames`` is 0, since none is decoded yet. ``sha256`` is left to the
        caller, who has it from the upload.
    total_frames : int
        Frames to expect, for a progress bar; of a film of which only some frames are handed over,
        all of them.
    times : list of (int, float)
        Index and real seconds of every frame decoded so far, also of those not handed over.
    scale : TimeScale
        How file time was turned into real time.
    problems : tuple of ServewrightError
        After iteration: `FramesLost` when part of the film could not be read; its
        ``extra["gaps"]`` lists (seconds before, seconds after, frames missing). From the start:
        `FrameRateDoubtful` when times rest on a tag of the file.
    heard : tuple of (float, float) or None
        After a whole reading: real seconds from the first frame and rise in decibels of each sharp
        sound. None without a sound track that can be read.
    """

    def __init__(
        self,
        process: DecoderProcess,
        message: dict[str, Any],
        *,
        size_bytes: int,
        capture_fps: float | None,
        chosen: int | None = None,
    ) -> None:
        self._process = process
        self._begun = False
        self._chosen = chosen
        self._decoded = 0
        self.times: list[tuple[int, float]] = []
        try:
            self.total_frames = int(message["frames_readable"]) if chosen is None else chosen
            tags = {str(key): str(value) for key, value in dict(message["tags"]).items()}
            self.scale: TimeScale = time_scale(
                float(message["frame_rate"]), given=capture_fps, tags=tags
            )
            self.facts = ClipFacts(
                duration_s=float(message["duration_s"]) * self.scale.factor,
                frame_rate=self.scale.frame_rate,
                frame_rate_variable=message["frame_rate_variable"],
                capture_fps_given=capture_fps,
                frames=0,
                frames_expected=message["frames_stated"],
                width=message["width"],
                height=message["height"],
                rotation_deg=message["rotation_deg"],
                container=message["container"],
                codec=message["codec"],
                pixel_format=message["pixel_format"],
                hdr=message["hdr"],
                size_bytes=size_bytes,
            )
        except (KeyError, TypeError, ValueError, ValidationError, ZeroDivisionError) as error:
            raise ClipDamaged() from error
        problem = self.scale.problem()
        self.problems: tuple[ServewrightError, ...] = () if problem is None else (problem,)
        self.heard: tuple[tuple[float, float], ...] | None = None

    def __iter__(self) -> Iterator[DecodedFrame]:
        if self._begun:
            raise RuntimeError("a film is read once; open it again")
        self._begun = True
        return self._read()

    def _read(self) -> Iterator[DecodedFrame]:
        sent = 0
        while True:
            message = self._process.receive("frame", "passed", "end")
            if message["kind"] == "end":
                break
            if message["kind"] == "passed":
                for index, time_s in self._process.passed(message):
                    self._note(index, time_s)
                continue
            index, time_s, rgb = self._process.frame(message, sent)
            sent += 1
            yield DecodedFrame(index, self._note(index, time_s), rgb)
            self._process.release()
        self.close()
        self.heard = _heard(message.get("heard"), self.scale.factor)
        lost = (self.facts.frames_expected or 0) - self._decoded
        if lost > 0 and self._chosen is None:
            last_time = self.times[-1][1] if self.times else -self.scale.factor
            self.problems += (self._loss(lost, last_time, message.get("gaps")),)

    def _note(self, index: int, time_s: float) -> float:
        """Remember a decoded frame; return its real time."""
        real_s = time_s * self.scale.factor
        if self.times and (index <= self.times[-1][0] or real_s <= self.times[-1][1]):
            self.close()
            raise ClipDamaged()
        self.times.append((index, real_s))
        self._decoded += 1
        return real_s

    def _loss(self, lost: int, last_s: float, told: Any) -> FramesLost:
        try:
            factor = self.scale.factor
            gaps = sorted((float(a) * factor, float(b) * factor, int(n)) for a, b, n in told)
        except (TypeError, ValueError):
            gaps = []
        inside = tuple(f"{a:.2f}-{b:.2f} s" for a, b, _ in gaps if b <= last_s)
        return FramesLost(
            say(
                NoteCode.FRAMES_MISSING_INSIDE if inside else NoteCode.FRAMES_MISSING,
                lost=lost,
                expected=self.facts.frames_expected or 0,
                last=last_s,
                gaps=inside[:5],
            ),
            lost=lost,
            expected=self.facts.frames_expected,
            last_time_s=last_s,
            gaps=gaps,
        )

    def final_facts(self) -> ClipFacts:
        """Return the facts with the number of frames decoded so far (all, after iteration)."""
        return self.facts.model_copy(update={"frames": self._decoded})

    def close(self) -> None:
        """End the decoder process. Called by the context manager; may be called again."""
        self._process.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()


def open_clip(
    path: Path,
    limits: DecodeLimits = DecodeLimits(),  # noqa: B008  (frozen)
    *,
    indices: Collection[int] | Mapping[int, float] | None = None,
    every_s: float | None = None,
    capture_fps: float | None = None,
    longest_side: int | None = None,
) -> ClipStream:
    """Open a film and return its facts and frames; use it as a context manager.

    Parameters
    ----------
    path : Path
        File of the film.
    limits : DecodeLimits
    indices : collection of int, optional
        Only these frames, as a whole reading counts them; what is lost is then not told. A mapping
        to their times (seconds, as a whole reading told them) is read without reading through: from
        the key frame before each stretch of them.
    every_s : float, optional
        Hand over only frames at least so many seconds apart; ``times`` holds all.
    capture_fps : float, optional
        Rate the camera recorded at, for a slow-motion file, frames per second.
    longest_side : int, optional
        Scale frames down so that neither side is longer, pixels.

    Raises
    ------
    ClipError
        When the film cannot be used; the kind and detail say why and what to send.
    InvalidRequest
        When ``capture_fps`` is not a rate.
    OSError
        When the path cannot be read.
    """
    wanted = None if indices is None else sorted(set(indices))
    job: dict[str, Any] = {"indices": wanted, "every_s": every_s, "capture_fps": capture_fps}
    if isinstance(indices, Mapping) and wanted is not None:
        job["times"] = [indices[index] for index in wanted]
    process, message, size = _start(path, limits, {**job, "longest_side": longest_side})
    chosen = None if wanted is None else len(wanted)
    try:
        return ClipStream(process, message, size_bytes=size, capture_fps=capture_fps, chosen=chosen)
    except BaseException:
        process.close()
        raise


def _heard(told: Any, factor: float) -> tuple[tuple[float, float], ...] | None:
    """Return what the child says it heard; None where that is nothing or not sound."""
    try:
        pairs = [(float(time) * factor, float(rise)) for time, rise in told]
    except (TypeError, ValueError):
        return None
    return tuple(pair for pair in sorted(pairs)[:MOST] if np.isfinite(pair).all())


def grab_frames(
    path: Path,
    indices: Iterable[int] | Mapping[int, float],
    limits: DecodeLimits = DecodeLimits(),  # noqa: B008  (frozen)
    *,
    capture_fps: float | None = None,
    longest_side: int | None = None,
) -> dict[int, DecodedFrame]:
    """Return chosen frames of a film by index, as `open_clip` counts them.

    Converts only the chosen ones. Pixels are copies and may be kept.

    Raises
    ------
    IndexError
        When a frame of that index cannot be had.
    ClipError, InvalidRequest, OSError
        As `open_clip`.
    """
    times = indices if isinstance(indices, Mapping) else None
    wanted = sorted(set(indices))
    if not wanted:
        return {}
    if wanted[0] < 0:
        raise IndexError(f"frame {wanted[0]} does not exist")
    with open_clip(
        path, limits, indices=times or wanted, capture_fps=capture_fps, longest_side=longest_side
    ) as clip:
        found = {frame.index: replace(frame, rgb=frame.rgb.copy()) for frame in clip}
    missing = [index for index in wanted if index not in found]
    if missing:
        raise IndexError(f"the film has no frame {missing[0]}")
    return found


def _start(
    path: Path, limits: DecodeLimits, job: Mapping[str, Any]
) -> tuple[DecoderProcess, dict[str, Any], int]:
    # O_NONBLOCK: opening a named pipe must not hang.
    film = os.open(path, os.O_RDONLY | os.O_CLOEXEC | os.O_NONBLOCK)
    try:
        status = os.fstat(film)
        if not stat.S_ISREG(status.st_mode):
            raise NotAVideo()
        if status.st_size > limits.size_bytes:
            raise ClipTooLarge(
                say(
                    NoteCode.FILE_SIZE_OVER_LIMIT,
                    size=status.st_size / MIB,
                    limit=limits.size_bytes / MIB,
                )
            )
        process = DecoderProcess(film, limits, **job)
    finally:
        os.close(film)
    try:
        message = process.receive("facts")
        width, height = message.get("width"), message.get("height")
        if not (
            isinstance(width, int)
            and isinstance(height, int)
            and min(width, height) > 0
            and width * height <= limits.pixels
        ):
            raise ClipDamaged()
        process.lend_ring(height, width)
    except BaseException:
        process.close()
        raise
    return process, message, status.st_size
