"""The verdict of the first look: told once, before the close look, whatever the film shows."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from models.contract.costs import Step
from models.contract.errors import Cancelled, NoPerson
from models.contract.first_look import FirstLook
from models.contract.tracks import JointTrack
from tests.unit.pipeline.fakes import GLANCE, LIKELY, NOWHERE, FakeClip, stages, track
from workers.engine.interface import EngineRequest
from workers.pipeline import run as pipeline
from workers.pipeline.film import Film
from workers.pipeline.first_look import ENOUGH_S, Looked
from workers.pipeline.time_left import TimeLeft


def test_it_is_told_once_and_before_the_close_look() -> None:
    happened: list[str] = []

    def estimate(film: Film, looked: Looked, seen: Callable[[], None]) -> JointTrack:
        list(film())
        looked(track(10), LIKELY)
        for _frame in film():
            happened.append("close")
            seen()
        return track(10)

    verdicts: list[FirstLook] = []

    def tell(verdict: FirstLook) -> None:
        happened.append("told")
        verdicts.append(verdict)

    left = TimeLeft()
    pipeline.run(
        NOWHERE,
        EngineRequest(),
        stages(FakeClip(), estimate=estimate),
        sha256="a" * 64,
        first_look=tell,
        time_left=left,
    )
    assert happened == ["told"] + ["close"] * 10
    (verdict,) = verdicts
    assert verdict.clip.frames == 10
    assert verdict.clip.sha256 == "a" * 64
    assert [(one.start_s, one.end_s) for one in verdict.likely_work] == list(LIKELY)
    assert verdict.view == GLANCE.view
    assert verdict.usability.usable
    assert {check.key for check in verdict.usability.checks} >= {"frame_rate", "exposure"}
    left.end()
    assert set(left.spent) == set(Step) - {Step.FILM}


def test_nobody_in_the_film_is_told_too() -> None:
    def nobody_there(film: Film, *_told: object) -> JointTrack:
        list(film())
        raise NoPerson

    verdicts: list[FirstLook] = []
    pipeline.run(
        NOWHERE,
        EngineRequest(),
        stages(FakeClip(), estimate=nobody_there),
        first_look=verdicts.append,
    )
    (verdict,) = verdicts
    assert not verdict.usability.usable
    assert [problem.code for problem in verdict.problems] == ["no_person"]
    assert verdict.likely_work == ()


def test_a_film_without_a_first_look_is_told_after_the_close_one() -> None:
    def every_frame(film: Film, *_told: object) -> JointTrack:
        list(film())
        return track(10)

    verdicts: list[FirstLook] = []
    pipeline.run(
        NOWHERE,
        EngineRequest(),
        stages(FakeClip(), estimate=every_frame),
        first_look=verdicts.append,
    )
    (verdict,) = verdicts
    assert [(one.start_s, one.end_s) for one in verdict.likely_work] == [(0.0, 0.15)]


def test_whoever_is_told_can_end_the_analysis() -> None:
    def refuse(_verdict: FirstLook) -> None:
        raise Cancelled

    with pytest.raises(Cancelled):
        pipeline.run(NOWHERE, EngineRequest(), stages(FakeClip()), first_look=refuse)


def whole_film(seconds: float) -> JointTrack:
    return replace(track(10), time_s=np.linspace(0.0, seconds, 10))


def test_the_beginning_is_told_once_it_holds_likely_work() -> None:
    verdicts: list[FirstLook] = []

    def estimate(film: Film, looked: Looked, seen: Callable[[], None]) -> JointTrack:
        for number, _frame in enumerate(film()):
            if number == 3:
                assert not looked.so_far(whole_film(2.5), ())
                assert not looked.so_far(whole_film(5.0), ((1.0, 5.5),))
                assert looked.so_far(whole_film(7.5), ((-0.5, 5.5), (7.0, 9.0)))
        looked(whole_film(20.0), ((1.0, 5.5), (7.0, 9.0), (15.0, 17.0)))
        return track(10)

    pipeline.run(
        NOWHERE, EngineRequest(), stages(FakeClip(), estimate=estimate), first_look=verdicts.append
    )
    (verdict,) = verdicts
    assert verdict.seen_s == 7.5
    assert verdict.clip.frames == 4
    assert [(one.start_s, one.end_s) for one in verdict.likely_work] == [(0.0, 5.5), (7.0, 7.5)]


def test_a_beginning_without_work_says_nothing_of_the_rest() -> None:
    verdicts: list[FirstLook] = []

    def estimate(film: Film, looked: Looked, seen: Callable[[], None]) -> JointTrack:
        list(film())
        assert looked.so_far(whole_film(ENOUGH_S), ())
        looked(whole_film(20.0), LIKELY)
        return track(10)

    pipeline.run(
        NOWHERE, EngineRequest(), stages(FakeClip(), estimate=estimate), first_look=verdicts.append
    )
    (verdict,) = verdicts
    assert verdict.likely_work == ()
    assert verdict.problems == ()
    assert verdict.seen_s == ENOUGH_S
