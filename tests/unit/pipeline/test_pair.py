"""The second film of a serve gives its joints to the first, and is named in the result."""

from __future__ import annotations

from functools import partial

import pytest

from models.contract.errors import FilmsNoPair
from models.contract.tracks import JointTrack
from models.contract.views import SecondView
from models.contract.vocabulary import View
from tests.unit.pipeline.fakes import NOWHERE, FakeClip, engine, stages
from workers.engine.interface import EngineRequest, EngineResult
from workers.pipeline import run as pipeline
from workers.pipeline.pair import run_pair

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
