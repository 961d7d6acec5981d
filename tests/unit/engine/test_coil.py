"""Turned away, or only bent: worked examples by hand, and bodies whose turn is known."""

from __future__ import annotations

import math
from dataclasses import replace
from statistics import NormalDist
from typing import Any

import numpy as np
import pytest

from models.contract.coil import CoilJudgement, CoilVerdict
from models.contract.note import note
from models.contract.note_codes import NoteCode
from models.contract.vocabulary import EventName, RepetitionKind, Sex, View
from models.training.rendered.bodies import true_motion, truth
from workers.engine.calibration import Calibration
from workers.engine.coil import (
    METHOD,
    TURN_PER_BEND,
    Angle,
    coil_of,
    probabilities,
    verdict_of,
)
from workers.engine.events import Instant
from workers.engine.film_bodies import plain_estimate
from workers.engine.measurability import FilmContext
from workers.engine.readings import Readings, read
from workers.engine.truth import read_truth


@pytest.mark.parametrize(
    ("turn", "bend", "verdict"),
    [
        ((30.0, 8.0), (40.0, 5.0), CoilVerdict.TURNED_AWAY),  # margin 24 over 8.03
        ((-4.0, 8.0), (40.0, 5.0), CoilVerdict.ONLY_BENT),  # margin -10
        ((8.0, 8.0), (40.0, 5.0), CoilVerdict.UNDECIDED),  # margin 2: 0.60
        ((20.0, 8.0), (2.0, 5.0), CoilVerdict.NOT_LOADED),  # 8 below what counts: 0.945
        ((20.0, 8.0), (10.0, 5.0), CoilVerdict.UNDECIDED),
    ],
)
def test_what_is_told_follows_turn_and_bend(
    turn: tuple[float, float], bend: tuple[float, float], verdict: CoilVerdict
) -> None:
    found = probabilities(Angle(*turn), Angle(*bend))
    assert verdict_of(*found) is verdict
    assert sum(found) == pytest.approx(1.0)


def test_the_probability_is_that_of_a_margin_with_a_normal_error() -> None:
    """12 - 0.15 x 40 = 6 deg over sqrt(6² + (0.15 x 10)²) = 6.18 deg."""
    away, _, still = probabilities(Angle(12.0, 6.0), Angle(40.0, 10.0))
    loaded = NormalDist().cdf(3.0)
    assert still == pytest.approx(1.0 - loaded)
    assert away == pytest.approx(loaded * NormalDist().cdf(6.0 / math.hypot(6.0, 1.5)))


def readings_and_context(
    clip: str, sd_m: float | None = None, **changes: Any
) -> tuple[Readings, FilmContext]:
    """A rendered film's true body, as a film from somewhere would have been read."""
    motion = true_motion(clip)
    if sd_m is not None:
        motion = replace(motion, sd=np.full(motion.joints.shape, sd_m))
    events = {
        event: Instant(when, 0.002, 1.0)
        for event, when in read_truth(truth(clip)).repetitions[0].events.items()
    }
    estimate = plain_estimate(motion)
    readings = read([estimate], events, sex=Sex.UNKNOWN, stature_sd_m=0.01, seed=1)
    values: dict[str, Any] = {"fps": 60.0, "view": None, "feet_share": 1.0, "events": events}
    return readings, FilmContext(**(values | changes))


def judged(clip: str, sd_m: float | None = None, **changes: Any) -> CoilJudgement:
    found = coil_of(*readings_and_context(clip, sd_m, **changes))
    assert found is not None
    return found


def true_ratio(clip: str) -> float:
    """Mean turn of the three lines by mean knee bend, from the film's own series."""
    known = read_truth(truth(clip))
    series, events = truth(clip)["frame_metrics"], known.repetitions[0].events

    def gained(name: str) -> float:
        still, loaded = np.interp(
            [events[EventName.SET_UP], events[EventName.LOADING]], known.time_s, series[name]
        )
        return float(loaded - still)

    bend = (gained("front_knee_flexion") + gained("rear_knee_flexion")) / 2
    lines = ("pelvis_turn", "shoulder_turn", "knee_turn")
    return sum(map(gained, lines)) / len(lines) / bend


@pytest.mark.parametrize("clip", ["000", "001", "002", "003", "004", "005", "006"])
def test_true_bodies_are_judged_as_the_formulas_of_the_films_say(clip: str) -> None:
    ratio = true_ratio(clip)
    found = judged(clip)
    expected = CoilVerdict.TURNED_AWAY if ratio > TURN_PER_BEND else CoilVerdict.ONLY_BENT
    assert found.verdict is expected


def test_from_a_place_that_proves_nothing_the_better_place_is_named() -> None:
    found = judged("000", view=View.BACK_SIDE)
    assert found.verdict is CoilVerdict.UNDECIDED
    assert found.turned_away is None
    assert found.film_from is View.FRONT_QUARTER
    assert found.reason is not None
    assert found.reason.code == NoteCode.VIEW_NOT_PROVEN


PROVEN = Calibration(
    {
        (f"{line}_turn@loading", view, "usual", METHOD): (0.0, 5.0, 5.0, 20)
        for line in ("pelvis", "shoulder", "knee")
        for view in ("side", "front_quarter")
    }
)


@pytest.mark.parametrize(
    ("view", "place"),
    [(View.SIDE, View.FRONT_QUARTER), (View.FRONT_QUARTER, View.BEHIND)],
)
def test_how_surely_joints_are_known_decides_whether_it_is_told(view: View, place: View) -> None:
    clear = judged("000", view=view, errors=PROVEN)
    assert clear.verdict is CoilVerdict.TURNED_AWAY
    assert clear.film_from is None
    blurred = judged("000", sd_m=0.3, view=view, errors=PROVEN)
    assert blurred.verdict is CoilVerdict.UNDECIDED
    assert blurred.film_from is place
    assert blurred.reason is not None
    assert blurred.reason.parameters["better"] == place.value


def test_refused_films_and_missing_events_give_their_reason() -> None:
    why = note(NoteCode.PICTURE_TURNED)
    assert judged("000", refused=why).reason == why
    events = {EventName.LOADING: Instant(1.0, 0.01, 1.0)}
    late = judged("000", events=events, missing={EventName.SET_UP: NoteCode.FILM_STARTS_LATE})
    assert late.reason is not None
    assert late.reason.code == NoteCode.FILM_STARTS_LATE
    assert late.turned_away is None


@pytest.mark.parametrize("kind", [RepetitionKind.HOLD, RepetitionKind.THROW])
def test_work_without_a_set_up_is_not_judged(kind: RepetitionKind) -> None:
    assert coil_of(*readings_and_context("000", kind=kind)) is None
