"""Small stand-ins for the stages: a film of grey frames and a track of one standing person."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Self

import numpy as np
import numpy.typing as npt
from PIL import Image

from models.contract.analysis import ModelUse, Repetition, Scale, ViewEstimate
from models.contract.clip import ClipFacts
from models.contract.errors import ServewrightError
from models.contract.skeleton import LANDMARKS
from models.contract.tracks import JointTrack
from models.contract.vocabulary import Handedness, RepetitionKind, View
from workers.engine.first_look import Glance
from workers.engine.interface import EngineRequest, EngineResult
from workers.pipeline.film import Film
from workers.pipeline.first_look import Looked
from workers.pipeline.run import StageFunctions

FACTS = ClipFacts(duration_s=0.2, frame_rate=60.0, frames=0, width=64, height=48)
MODEL = ModelUse(name="test_network", sha256="0" * 64)


LIKELY = ((0.0, 0.2),)
GLANCE = Glance(ViewEstimate(label=View.SIDE, azimuth_deg=90.0), ())


def _picture() -> bytes:
    buffer = io.BytesIO()
    Image.new("RGB", (8, 6), "grey").save(buffer, "JPEG")
    return buffer.getvalue()


PICTURE = _picture()


@dataclass(frozen=True)
class FakeFrame:
    index: int
    time_s: float
    rgb: npt.NDArray[np.uint8]


@dataclass
class FakeClip:
    """Yields ``frames`` frames; ``fail_at`` raises an error instead of that frame."""

    frames: int = 10
    fail_at: int | None = None
    error: ServewrightError | None = None
    limited_by: Sequence[ServewrightError] = ()
    facts: ClipFacts = FACTS
    opened: int = 0
    closed: int = 0
    decoded: int = 0
    times: list[tuple[int, float]] = field(default_factory=list)
    problems: tuple[ServewrightError, ...] = field(default_factory=tuple)
    heard: Sequence[tuple[float, float]] | None = None

    @property
    def total_frames(self) -> int:
        return self.frames

    def __iter__(self) -> Iterator[FakeFrame]:
        for index in range(self.frames):
            if index == self.fail_at and self.error is not None:
                raise self.error
            self.decoded += 1
            self.times.append((index, index / 60.0))
            yield FakeFrame(index, index / 60.0, np.zeros((48, 64, 3), np.uint8))
        self.problems = tuple(self.limited_by)

    def final_facts(self) -> ClipFacts:
        return self.facts.model_copy(update={"frames": self.decoded})

    def __enter__(self) -> Self:
        self.opened += 1
        self.decoded = 0
        self.times = []
        return self

    def __exit__(self, *_exc: object) -> None:
        self.closed += 1


def track(frames: int = 10, *, seen: bool = True, people: int = 1) -> JointTrack:
    """Return a track with every joint at one place, or nowhere."""
    n = len(LANDMARKS)
    xy = np.full((frames, n, 2), 20.0 if seen else np.nan)
    return JointTrack(
        time_s=np.arange(frames) / 60.0,
        frame_index=np.arange(frames),
        xy=xy,
        xy_raw=xy,
        confidence=np.full((frames, n), 0.9 if seen else 0.0),
        world=np.zeros((frames, n, 3)),
        score=np.full(frames, 0.9 if seen else 0.0),
        disagreement_px=np.full((frames, n), np.nan),
        width=64,
        height=48,
        people=np.full(frames, people),
    )


def read_twice(
    result: JointTrack,
) -> Callable[[Film, Looked, Callable[[], None]], JointTrack]:
    def estimate(film: Film, looked: Looked, _seen: Callable[[], None]) -> JointTrack:
        for reading in range(2):
            for _frame in film():
                pass
            if reading == 0 and film.frames:
                looked(result, LIKELY)
        return result

    return estimate


def engine(
    repetitions: int = 1, **extra: Any
) -> Callable[[JointTrack, EngineRequest], EngineResult]:
    def measure(_track: JointTrack, _request: EngineRequest) -> EngineResult:
        return EngineResult(
            view=ViewEstimate(label=View.SIDE, azimuth_deg=90.0),
            handedness=Handedness.RIGHT,
            handedness_source="estimated",
            scale=Scale(source="assumed"),
            repetitions=tuple(
                Repetition(kind=RepetitionKind.SERVE, start_s=i, end_s=i + 1, confidence=0.9)
                for i in range(repetitions)
            ),
            bodies=(None,) * repetitions,
            **extra,
        )

    return measure


def stages(clip: FakeClip, result: JointTrack | None = None, **changes: Any) -> StageFunctions:
    """Return stages around a fake film; every stage can be replaced."""
    chosen: dict[str, Any] = {
        "open_clip": lambda _path, _fps, _indices: clip,
        "estimate": read_twice(track(clip.frames) if result is None else result),
        "glance": lambda _track, _stretches, _request: GLANCE,
        "measure": engine(),
        "draw": lambda _path, analysis, _track, _found, _words: {
            f"serve-{i + 1}-trophy.jpg": PICTURE for i in range(len(analysis.repetitions))
        },
        "models": (MODEL,),
    }
    return StageFunctions(**(chosen | changes))


NOWHERE = Path("film.mp4")
