"""Confidence of an event that the body alone tells: how often films held what they stated."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from models.contract.vocabulary import EventName, View
from models.training.events.__main__ import write
from models.training.events.films import body_rows, kept_rows
from models.training.rendered.bodies import simulated_track
from workers.engine.accuracy import EventError
from workers.engine.calibration import Calibration
from workers.engine.engine import analyse
from workers.engine.event_errors import BODY, BORROWED, NO_EVENT_ERRORS, WITHOUT, EventErrors
from workers.engine.events import Instant
from workers.engine.interface import EngineRequest
from workers.engine.judged_events import as_calibrated
from workers.learned import load

ERRORS = EventErrors(
    {
        ("contact", "ball", 60.0): (0.0, 1.5, 0.9, 20),
        ("contact", BODY, 60.0): (0.0, 1.0, 0.7, 60),
        ("release", BODY, 60.0): (0.0, 1.0, 0.4, 60),
    }
)


def test_the_share_of_films_is_the_confidence_and_other_rates_borrow_it() -> None:
    assert ERRORS.body_confidence(EventName.CONTACT, 59.94) == 0.7
    assert ERRORS.body_confidence(EventName.CONTACT, 240.0) == pytest.approx(0.7 * BORROWED)
    assert ERRORS.body_confidence(EventName.TROPHY, 60.0) is None
    assert NO_EVENT_ERRORS.body_confidence(EventName.CONTACT, 60.0) is None


def test_films_of_the_body_say_nothing_of_the_ball() -> None:
    # 0.9 x borrowed: the ball's row at another rate, not the body's
    assert ERRORS.judged(EventName.CONTACT, "sound", 60.0, 0.01)[2] == pytest.approx(0.9 * BORROWED)
    assert ERRORS.judged(EventName.RELEASE, "ball", 60.0, 0.01)[2] == WITHOUT


def error(seconds: float | None, fps: float = 60.0) -> EventError:
    return EventError("film", EventName.CONTACT, View.SIDE, fps, seconds, 0.01)


def test_rows_count_what_lay_within_the_stated_interval() -> None:
    inside, outside = error(0.0195), error(-0.0197)  # 1.96 x 0.01 = 0.0196
    rows = body_rows([inside] * 9 + [outside] * 4 + [error(None)] + [error(0.0, 120.0)] * 3)
    assert rows == [("contact", BODY, 60.0, 0.0, 1.0, round(10 / 15, 3), 13)]


def test_what_curves_tell_is_counted_apart_and_what_the_ball_tells_is_not_the_bodys() -> None:
    knees = replace(error(0.0), event=EventName.TROPHY, method="knees")
    ball = replace(error(0.0), method="ball+hand")
    assert body_rows([knees] * 12 + [ball] * 12) == [
        ("trophy", "knees", 60.0, 0.0, 1.0, round(13 / 14, 3), 12)
    ]


def test_rows_of_some_sources_are_made_anew_and_the_others_kept(tmp_path: Path) -> None:
    table = tmp_path / "errors.json"
    old = [("contact", "ball", 60.0, 0.0, 1.5, 0.9, 20), ("trophy", "knees", 60.0, 0, 1, 0.5, 9)]
    write(table, [*old, ("finish", BODY, 60.0, 0.0, 1.0, 0.7, 20)], "drawn; body: films")
    about, kept = kept_rows(table, ("knees", "pelvis"))
    assert about == "drawn; body: films"
    assert [row[1] for row in kept] == ["ball", BODY]
    assert kept_rows(table)[0] == "drawn"
    assert [row[1] for row in kept_rows(table)[1]] == ["ball"]


def test_a_film_states_what_the_table_says() -> None:
    learned = load().learned
    [one] = analyse(simulated_track("000"), EngineRequest(stature_m=1.8), learned).repetitions
    assert one.events
    for name, event in one.events.items():
        if event.method == BODY:
            sure = learned.event_errors.body_confidence(name, 60.0)
            assert event.confidence == pytest.approx(sure if sure is not None else 0.9, abs=1e-3)


def test_values_are_widened_by_what_they_were_calibrated_with() -> None:
    """A curve may tell its time more narrowly than events of calibration films were told."""
    errors = Calibration(events={("trophy", "side", "usual"): (0.06, 20)})
    sharp = Instant(1.0, 0.01, 0.9, "knees")
    assert as_calibrated(sharp, EventName.TROPHY, View.SIDE, 60.0, errors).sd_s == 0.06
    level = replace(sharp, sd_s=0.2)
    assert as_calibrated(level, EventName.TROPHY, View.SIDE, 60.0, errors) == level
    ball = replace(sharp, method="ball")
    assert as_calibrated(ball, EventName.TROPHY, View.SIDE, 60.0, errors) == ball
    assert as_calibrated(sharp, EventName.TROPHY, None, 60.0, errors) == sharp
