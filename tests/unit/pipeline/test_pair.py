"""The second film of a serve gives its joints to the first, and is named in the result."""

from __future__ import annotations

from functools import partial

import pytest

from models.contract.errors import FilmsNoPair
from models.contract.tracks import JointTrack
from models.contract.views import SecondView
from models.contract.vocabulary import Stage, View
from tests.unit.pipeline.fakes import NOWHERE, FakeClip, engine, stages
from workers.engine.interface import EngineRequest, EngineResult
from workers.pipeline import run as pipeline
from workers.pipeline.pair import run_pair, while_measuring
from workers.pipeline.progress import STAGE_SHARES

SECOND = SecondView(
    offset_s=0.5,
    offset_low=0.49,
    offset_high=0.51,
    apart_deg=80.0,
    apart_low=75.0,
    apart_high=85.0,
    synchronised_by="movement",
)
OTHER = NOWHERE.with_name("other.mp4")


def test_the_first_films_result_names_the_second() -> None:
    asked: list[tuple[int, int, EngineRequest]] = []

    def measure_pair(one: JointTrack, two: JointTrack, request: EngineRequest) -> EngineResult:
        asked.append((len(one), len(two), request))
        return engine(second=SECOND)(one, request)

    request = EngineRequest(stature_m=1.8, view=View.SIDE, azimuth_deg=90.0)
    first = partial(pipeline.run, sha256="a" * 64)
    second = partial(pipeline.run, sha256="b" * 64)
    chosen = stages(FakeClip(), measure_pair=measure_pair)
    result = run_pair((NOWHERE, first), (OTHER, second), request, chosen)
    assert asked == [(10, 10, request)]
    assert result.analysis.clip.sha256 == "a" * 64
    told = result.analysis.second_view
    assert told is not None
    assert told.clip is not None
    assert told.clip.sha256 == "b" * 64
    assert told.apart_deg == 80.0
    assert list(result.pictures) == ["serve-1-trophy.jpg"]


def test_no_pair_ends_with_the_error_of_the_engine() -> None:
    def measure_pair(_one: JointTrack, _two: JointTrack, _request: EngineRequest) -> EngineResult:
        raise FilmsNoPair

    chosen = stages(FakeClip(), measure_pair=measure_pair)
    with pytest.raises(FilmsNoPair):
        run_pair((NOWHERE, pipeline.run), (OTHER, pipeline.run), EngineRequest(), chosen)


def test_a_first_film_without_a_second_view_is_no_pair() -> None:
    chosen = stages(FakeClip(), measure_pair=lambda one, _two, request: engine()(one, request))
    with pytest.raises(FilmsNoPair, match="no serve was found"):
        run_pair((NOWHERE, pipeline.run), (OTHER, pipeline.run), EngineRequest(), chosen)


def test_both_films_are_drawn_beside_each_other() -> None:
    shown: list[tuple[str, str, int]] = []

    def beside(path, analysis, _track, _found, _words, other):  # type: ignore[no-untyped-def]
        assert analysis.second_view is not None
        shown.append((path.name, other.path.name, len(other.track)))
        return {"views-serve-1-trophy.jpg": b"both"}

    def measure_pair(one: JointTrack, _two: JointTrack, request: EngineRequest) -> EngineResult:
        return engine(second=SECOND)(one, request)

    first = partial(pipeline.run, annotated_film=True, also_hidden=True)
    chosen = stages(
        FakeClip(),
        measure_pair=measure_pair,
        film=lambda *_: b"one film",
        draw_hidden=lambda *_: {},
        film_hidden=lambda *_: b"one hidden",
        draw_beside=beside,
        draw_beside_hidden=beside,
        film_beside=lambda *_: b"both films",
        film_beside_hidden=lambda *_: None,
    )
    result = run_pair((NOWHERE, first), (OTHER, pipeline.run), EngineRequest(), chosen)
    assert shown == [("film.mp4", "other.mp4", 10)] * 2
    assert sorted(result.pictures) == ["serve-1-trophy.jpg", "views-serve-1-trophy.jpg"]
    assert result.film == b"both films"
    assert result.hidden is not None
    # What cannot be shown in step is shown by the first film alone.
    assert (dict(result.hidden.pictures), result.hidden.film) == (
        {"views-serve-1-trophy.jpg": b"both"},
        b"one hidden",
    )
    assert result.second_track is not None


def test_the_first_look_comes_before_the_second_film_is_read() -> None:
    told: list[str] = []

    def second(*arguments: object) -> pipeline.PipelineResult:
        told.append("second film")
        return pipeline.run(*arguments)  # type: ignore[arg-type]

    def measure_pair(one: JointTrack, _two: JointTrack, request: EngineRequest) -> EngineResult:
        return engine(second=SECOND)(one, request)

    first = partial(pipeline.run, first_look=lambda _: told.append("first look"))
    chosen = stages(FakeClip(), measure_pair=measure_pair)
    run_pair((NOWHERE, first), (OTHER, second), EngineRequest(), chosen)
    assert told == ["first look", "second film"]


def test_progress_of_the_second_film_stays_within_measuring() -> None:
    told: list[tuple[Stage, float]] = []
    report = while_measuring(lambda stage, done: told.append((stage, done)))
    for done in (0.0, 0.5, 1.0):
        report(Stage.PROBE, done)
    before = sum(STAGE_SHARES[stage] for stage in (Stage.PROBE, Stage.DECODE, Stage.POSE))
    assert [stage for stage, _ in told] == [Stage.SERVE] * 3
    assert told[0][1] == pytest.approx(before)
    assert before < told[1][1] < told[2][1] < before + STAGE_SHARES[Stage.SERVE]
