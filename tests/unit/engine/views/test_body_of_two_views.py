"""One body from two films is nearer to the truth than from one, and says what it does not know."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from models.contract.analysis import Metric
from models.contract.errors import FilmsNoPair
from models.contract.note_codes import NoteCode
from models.training.views.bodies import ONE, TWO, bodies_of
from models.training.views.measure import RIGHT, tried
from models.training.views.page import METRICS
from models.training.views.pairs import Pair, draw_pair, mixed, movements
from workers.engine.camera import LevelCamera
from workers.engine.fit.others import OTHER, OtherCamera
from workers.engine.interface import EngineRequest, EngineResult
from workers.engine.several import METHOD, analyse_pair
from workers.engine.views.fused import resampled
from workers.learned import load

LEARNED = load().learned


@cache
def pair() -> Pair:
    return draw_pair(next(movements("train", "bumps", 811, 1)), np.random.default_rng(5))


@cache
def analysed() -> EngineResult:
    drawn = pair()
    request = EngineRequest(stature_m=drawn.dense.stature_m)
    return analyse_pair(drawn.one.track, drawn.two.track, request, LEARNED)


def test_angles_are_nearer_to_the_truth_than_from_one_film() -> None:
    found = bodies_of(tried(RIGHT, pair(), LEARNED.landmarks), LEARNED)
    angles = [one for one in found if one.name in METRICS and "share" not in one.name]
    assert len(angles) > 20
    off = {
        way: float(np.mean([abs(one.off) for one in angles if one.way == way]))
        for way in (ONE, TWO)
    }
    assert off[TWO] < 6.0
    assert off[TWO] < off[ONE]


def test_the_result_names_the_second_view_and_the_method() -> None:
    result, drawn = analysed(), pair()
    second = result.second
    assert second is not None
    assert second.offset_low <= drawn.offset_s <= second.offset_high
    assert second.apart_low <= drawn.apart_deg <= second.apart_high
    assert second.synchronised_by == "movement"
    (repetition,) = result.repetitions
    assert {metric.method for metric in repetition.metrics} == {METHOD}
    assert [body is not None for body in result.bodies] == [True]


def metrics() -> dict[str, Metric]:
    (repetition,) = analysed().repetitions
    return {f"{m.key}@{m.event}": m for m in repetition.metrics}


def test_what_was_not_held_against_truth_is_withheld_with_its_reason() -> None:
    timed = [m for m in metrics().values() if m.key in ("wrist_speed_peak", "leg_drive_speed")]
    assert timed
    for metric in timed:
        assert not metric.measurable
        assert metric.value is None
        assert metric.reason is not None
    assert any(m.reason and m.reason.code == NoteCode.TWO_VIEWS_NOT_PROVEN for m in timed)
    assert any(m.measurable and m.key == "front_knee_flexion" for m in metrics().values())


def test_films_of_two_players_end_with_an_error_that_says_what_to_send() -> None:
    one, two = movements("train", "bumps", 811, 2)
    wrong = mixed(one, two, (60.0, 140.0), np.random.default_rng(6))
    request = EngineRequest(stature_m=one.stature_m)
    with pytest.raises(FilmsNoPair, match="two films of the same serve"):
        analyse_pair(wrong.one.track, wrong.two.track, request, LEARNED)


def test_a_film_without_a_person_is_no_pair() -> None:
    track = pair().two.track
    nobody = replace(track, xy_raw=np.full_like(track.xy_raw, np.nan))
    with pytest.raises(FilmsNoPair, match="no serve was found"):
        analyse_pair(pair().one.track, nobody, EngineRequest(), LEARNED)


def test_slopes_of_another_camera_are_those_of_its_pixels() -> None:
    # central differences
    rng = np.random.default_rng(3)
    points = np.array([0.0, 7.0, 0.0]) + rng.normal(0.0, 0.5, (4, 3))
    camera = OtherCamera(
        LevelCamera(1500.0, (960.0, 540.0), 0.1, -0.05), 1.1, np.array([6.0, 4.0, 0.2])
    )
    _, by_point, by_camera = camera.project(points)
    h = 1e-6
    for k in range(len(OTHER)):
        step = np.zeros(len(OTHER))
        step[k] = h
        slope = (camera.moved(step).project(points)[0] - camera.moved(-step).project(points)[0]) / (
            2 * h
        )
        np.testing.assert_allclose(by_camera[..., k], slope, rtol=1e-5, atol=1e-2)
    for c in range(3):
        move = np.zeros(3)
        move[c] = h
        slope = (camera.project(points + move)[0] - camera.project(points - move)[0]) / (2 * h)
        np.testing.assert_allclose(by_point[..., c], slope, rtol=1e-5, atol=1e-2)


def test_a_track_read_at_its_own_times_is_itself() -> None:
    track = pair().two.track
    again = resampled(track, track.time_s)
    np.testing.assert_allclose(again.xy_raw, track.xy_raw, atol=1e-6)
