"""A film as the pipeline sees it: frames that can be streamed again, facts, and what went wrong."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, ExitStack
from typing import Protocol

from models.contract.clip import ClipFacts
from models.contract.errors import ServewrightError
from models.contract.vocabulary import Stage
from workers.pipeline.progress import PipelineProgress
from workers.pose.frames import Frame

READING_SHARES = (0.15, 0.85)
"""Progress of the pose stage at its two readings: a survey of few frames, then a close look."""

SAMPLES = 12
"""About how many frames, spread over the first reading, are handed to ``sample``."""


class OpenedFilm(Protocol):
    """An open film: facts first, then its frames once."""

    @property
    def facts(self) -> ClipFacts:
        """What the container states."""

    @property
    def total_frames(self) -> int | None:
        """How many frames to expect."""

    @property
    def times(self) -> Sequence[tuple[int, float]]:
        """Index and seconds of the frames decoded so far, also of those not handed over."""

    @property
    def problems(self) -> Sequence[ServewrightError]:
        """What does not stop the analysis but limits it; complete after the last frame."""

    @property
    def heard(self) -> Sequence[tuple[float, float]] | None:
        """Sharp sounds (seconds, decibels) after the last frame; None without sound."""

    def __iter__(self) -> Iterator[Frame]:
        """Yield frames in order: those asked for, or enough for a survey where all were."""

    def final_facts(self) -> ClipFacts:
        """Facts after the last frame: what was really decoded."""


Wanted = Mapping[int, float]
"""Index and seconds of the frames that are wanted, as a first reading told them."""

OpenClip = Callable[[Wanted | None], AbstractContextManager[OpenedFilm]]
"""Opens a film: for a first reading, which tells the times of all of its frames and hands over
enough of them for a survey; or for these frames."""


class Film:
    """A film that can be read as often as asked: call it for the frames.

    The first reading is a survey: it may hand over few of the frames. Between two readings nothing
    of the film is kept but facts and the times of its frames. It counts frames, times the waiting
    for the decoder and reports progress.

    Parameters
    ----------
    open_clip : callable
    sample : callable, optional
        Receives some frames of the first reading, to judge the quality of the pictures.

    Attributes
    ----------
    facts : ClipFacts
        As known at this moment: complete once the film was read to its end.
    problems : tuple of ServewrightError
        Likewise.
    frames : int
        Frames that were decoded in the first reading.
    waited_s : float
        Time spent waiting for frames, seconds.
    heard : sequence of (seconds, decibels), or None
        Sharp sounds of the film, after its first reading; None without sound.
    """

    def __init__(
        self,
        open_clip: OpenClip,
        progress: PipelineProgress,
        sample: Callable[[Frame], None] | None = None,
    ) -> None:
        self._open_clip = open_clip
        self._progress = progress
        self._sample = sample
        self._begun = 0
        self._times: Sequence[tuple[int, float]] = ()
        self._open: ExitStack | None = None
        self._clip: OpenedFilm | None = None
        self._reading: OpenedFilm | None = None
        self.facts: ClipFacts
        self.problems: tuple[ServewrightError, ...] = ()
        self.frames = 0
        self.waited_s = 0.0
        self.heard: Sequence[tuple[float, float]] | None = None

    @property
    def facts_so_far(self) -> ClipFacts:
        """Facts with what has been decoded so far, also during the first reading."""
        return self.facts if self._reading is None else self._reading.final_facts()

    def open(self) -> None:
        """Open the film and learn its facts; the next reading uses this opening."""
        self.close()
        opened = ExitStack()
        self._clip = opened.enter_context(self._open_clip(None))
        self._open = opened
        self.facts = self._clip.facts
        self.problems = tuple(self._clip.problems)

    def close(self) -> None:
        """Close the present opening, if any."""
        if self._open is not None:
            self._open.close()
        self._open = self._clip = None

    def __call__(
        self, stretches: Sequence[tuple[float, float]] | None = None, /
    ) -> Iterator[Frame]:
        """Yield the frames in order, one reading at a time.

        Parameters
        ----------
        stretches : sequence of (from, to), optional
            Seconds; only frames inside them, after the first reading. None = enough frames for a
            survey at the first reading, later all frames.
        """
        self._begun += 1
        if self._begun > 1:
            wanted = {
                index: time_s
                for index, time_s in self._times
                if stretches is None or any(start <= time_s <= stop for start, stop in stretches)
            }
            self.close()
            with self._open_clip(wanted) as chosen:
                yield from self._read(chosen, self._begun)
            return
        if self._clip is None:
            self.open()
        clip, self._clip = self._clip, None
        assert clip is not None
        self._reading = clip
        yield from self._read(clip, self._begun)
        self.close()

    def _read(self, clip: OpenedFilm, reading: int) -> Iterator[Frame]:
        frames = iter(clip)
        total = clip.total_frames
        before = sum(READING_SHARES[: reading - 1])
        part = READING_SHARES[reading - 1] if reading <= len(READING_SHARES) else 0.0
        every = max(1, (total or 0) // SAMPLES)
        seen = sampled = 0
        try:
            while True:
                start = time.perf_counter()
                try:
                    frame = next(frames, None)
                except ServewrightError as error:
                    error.extra.setdefault("stage", Stage.DECODE.value)
                    raise
                finally:
                    self.waited_s += time.perf_counter() - start
                if frame is None:
                    break
                if reading == 1 and self._sample is not None and frame.index >= sampled:
                    self._sample(frame)
                    sampled = frame.index + every
                yield frame
                seen += 1
                passed = frame.index + 1 if reading == 1 else seen
                share = min(1.0, passed / total) if total else 0.0
                self._progress.advance(Stage.POSE, before + share * part)
        finally:
            if reading == 1:
                self._reading = None
                self._times = tuple(clip.times)
                self.frames = len(self._times)
                self.facts = clip.final_facts()
                self.problems = tuple(clip.problems)
            if reading == 1:
                self.heard = clip.heard
