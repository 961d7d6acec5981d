"""A film is read whole once; then only what is asked for."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass, field, replace

import pytest

from models.contract.vocabulary import Stage
from tests.unit.pipeline.fakes import FakeClip, FakeFrame
from workers.pipeline.film import Film
from workers.pipeline.progress import PipelineProgress


@dataclass
class ChosenClip(FakeClip):
    """Yields only the frames of the wanted indices."""

    wanted: Collection[int] | None = None

    @property
    def total_frames(self) -> int:
        return self.frames if self.wanted is None else len(self.wanted)

    def __iter__(self) -> Iterator[FakeFrame]:
        for frame in super().__iter__():
            if self.wanted is None or frame.index in self.wanted:
                yield frame


@dataclass
class Opened:
    """Opens the same film again and again, and remembers for what."""

    frames: int = 60
    asked: list[Collection[int] | None] = field(default_factory=list)

    def __call__(self, wanted: Collection[int] | None) -> ChosenClip:
        self.asked.append(wanted)
        return replace(ChosenClip(self.frames), wanted=wanted)


def test_only_frames_inside_the_stretches_are_read_again() -> None:
    opened = Opened()
    film = Film(opened, PipelineProgress())
    assert len(list(film())) == 60
    again = [frame.index for frame in film([(0.1, 0.2), (0.5, 0.55)])]
    assert again == [6, 7, 8, 9, 10, 11, 12, 30, 31, 32, 33]
    assert [None if asked is None else list(asked) for asked in opened.asked] == [None, again]
    assert film.frames == 60
    assert film.facts.frames == 60


def test_progress_of_a_close_look_counts_its_own_frames() -> None:
    told: list[float] = []
    film = Film(Opened(), PipelineProgress(lambda _stage, done: told.append(done)))
    list(film())
    whole = told[-1]
    list(film([(0.5, 0.55)]))
    assert told == sorted(told)
    assert told[-1] > whole
    ends = PipelineProgress(lambda _stage, done: told.append(done))
    ends.advance(Stage.POSE, 1.0)
    assert told[-2] == pytest.approx(told[-1])
