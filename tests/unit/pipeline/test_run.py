from __future__ import annotations

import pytest

from models.contract.clip import UsabilityCheck
from models.contract.errors import (
    Cancelled,
    ClipDamaged,
    ClipWithoutFrames,
    FramesLost,
    NoPerson,
    NoServeFound,
    ViewUnsuitable,
)
from models.contract.problem import Problem
from models.contract.tracks import JointTrack
from models.contract.vocabulary import Handedness, Severity, Stage
from tests.unit.pipeline.fakes import NOWHERE, FakeClip, engine, stages, track
from workers.engine.interface import EngineRequest, EngineResult
from workers.pipeline import run as pipeline
from workers.pipeline.film import Film


def test_result_holds_what_the_stages_found() -> None:
    clip = FakeClip(frames=12)
    result = pipeline.run(NOWHERE, EngineRequest(), stages(clip), sha256="a" * 64)
    assert result.analysis.clip.frames == 12
    assert result.analysis.clip.sha256 == "a" * 64
    assert len(result.analysis.repetitions) == 1
    assert result.analysis.models[0].name == "test_network"
    assert result.analysis.usability.usable
    assert result.analysis.problems == ()
    assert list(result.pictures) == ["serve-1-trophy.jpg"]
    assert set(result.timings_s) == set(Stage) - {Stage.STORE}
    assert clip.opened == clip.closed == 2


def test_progress_rises_over_all_stages() -> None:
    seen: list[tuple[Stage, float]] = []
    pipeline.run(
        NOWHERE, EngineRequest(), stages(FakeClip()), report=lambda s, d: seen.append((s, d))
    )
    assert [d for _, d in seen] == sorted(d for _, d in seen)
    order = list(dict.fromkeys(s for s, _ in seen))
    assert order == [Stage.PROBE, Stage.POSE, Stage.SERVE, Stage.PICTURES]
    assert sum(s is Stage.POSE for s, _ in seen) >= 20  # every frame of both readings


def test_nobody_in_the_film_is_a_completed_analysis() -> None:
    def must_not_run(_track: JointTrack, _request: EngineRequest) -> EngineResult:
        raise AssertionError("the engine has nothing to measure")

    def nobody_there(film: Film, *_told: object) -> JointTrack:
        for _frame in film():
            pass
        raise NoPerson

    chosen = stages(FakeClip(), estimate=nobody_there, measure=must_not_run)
    request = EngineRequest(handedness=Handedness.LEFT)
    result = pipeline.run(NOWHERE, request, chosen)
    analysis = result.analysis
    assert analysis.clip.frames == 10
    assert len(result.track) == 0
    assert [p.code for p in analysis.problems] == ["no_person"]
    assert analysis.problems[0].severity is Severity.BLOCKING
    assert analysis.repetitions == ()
    assert not analysis.usability.usable
    assert analysis.handedness_source == "given"


def test_no_serve_is_stated_once() -> None:
    silent = stages(FakeClip(), measure=engine(0))
    told = stages(FakeClip(), measure=engine(0, problems=(Problem.of(NoServeFound()),)))
    for chosen in (silent, told):
        result = pipeline.run(NOWHERE, EngineRequest(), chosen)
        assert [p.code for p in result.analysis.problems] == ["no_serve_found"]
        assert result.pictures == {}


def test_problems_are_merged_gravest_first() -> None:
    clip = FakeClip(limited_by=(FramesLost(),))
    blocking = Problem.of(ViewUnsuitable(), severity=Severity.BLOCKING)
    note = Problem.of(NoServeFound(), severity=Severity.NOTE)
    chosen = stages(clip, track(people=2), measure=engine(1, problems=(note, blocking, blocking)))
    analysis = pipeline.run(NOWHERE, EngineRequest(), chosen).analysis
    assert [p.code for p in analysis.problems] == [
        "view_unsuitable",
        "frames_lost",
        "no_serve_found",
    ]


def test_failed_blocking_check_makes_a_film_unusable() -> None:
    check = UsabilityCheck(
        key="feet_in_frame", passed=False, severity=Severity.BLOCKING, detail="Feet are cut off."
    )
    chosen = stages(FakeClip(), measure=engine(1, checks=(check,)))
    analysis = pipeline.run(NOWHERE, EngineRequest(), chosen).analysis
    assert not analysis.usability.usable
    assert check in analysis.usability.checks
    assert {"frame_rate", "resolution", "sharpness"} <= {c.key for c in analysis.usability.checks}


def test_file_error_is_raised_with_its_stage_and_the_film_is_closed() -> None:
    clip = FakeClip(fail_at=3, error=ClipDamaged())
    with pytest.raises(ClipDamaged) as caught:
        pipeline.run(NOWHERE, EngineRequest(), stages(clip))
    assert caught.value.extra["stage"] == "decode"
    assert clip.opened == clip.closed == 1


def test_film_without_frames_is_a_file_error() -> None:
    clip = FakeClip(frames=0)
    with pytest.raises(ClipWithoutFrames):
        pipeline.run(NOWHERE, EngineRequest(), stages(clip, track(0)))
    assert clip.opened == clip.closed


def test_report_can_end_the_analysis_between_two_frames() -> None:
    clip = FakeClip(frames=1000)

    def report(stage: Stage, done: float) -> None:
        if stage is Stage.POSE and done > 0.08:
            raise Cancelled

    with pytest.raises(Cancelled):
        pipeline.run(NOWHERE, EngineRequest(), stages(clip), report=report)
    assert clip.decoded < 1000
    assert clip.opened == clip.closed == 1
