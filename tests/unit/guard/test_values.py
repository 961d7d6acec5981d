"""Numbers from film, held to what was measured when they were frozen.

The joint tracks of thirteen rendered films (`tests/data/tracks`) run through the engine; errors
are against the films' exact truth, whose formulas share no code with the engine. The limits are in
`tests/data/tracks/limits.json`, a row each: figure, measured, lowest and highest allowed. They are
the worst of five runs (one on the tracks as they are, four with half a pixel of noise and other
random draws, less than the networks scatter from frame to frame), a tenth further, and one small
step besides (0.5 deg, 0.01 s, 0.01 of a ratio, 5 mm, 0.1 m/s, 10 deg/s). What the engine cannot do
well is in them too: the hold's camera place is 17 deg off and its knees 30 deg; they must not get
worse. A throw's elevation is 33 deg off even from true joints: the truth names the ball's
direction, the engine that of the wrist at its fastest, so this row guards against change only.
"""

from __future__ import annotations

from collections.abc import Mapping

import pytest

from models.contract.vocabulary import RepetitionKind, View
from models.training.guard.checks import STATED, WRONG_ANSWERS, Figure, failures, read_limits
from models.training.guard.frozen import load
from models.training.guard.measured import Measured

pytestmark = pytest.mark.timeout(900)
GROUPS = {
    "values as reported": "film | ",
    "values by every method, nothing corrected": "plain | ",
    "values of the true joints": "joints | ",
    "values of a hold and a throw that are stated to be so": "stated ",
}


def test_the_films_show_what_the_guard_needs(films: list[Measured]) -> None:
    clips = [film.film for film in films]
    assert len(clips) >= 8
    places = {clip.view for clip in clips if clip.kinds}
    assert places >= {View.SIDE, View.FRONT_QUARTER, View.REAR_QUARTER, View.BEHIND}
    assert {clip.handedness.value for clip in clips} == {"left", "right"}
    assert {clip.fps for clip in clips} >= {30.0, 60.0, 120.0}
    kinds = [kind for clip in clips for kind in clip.kinds]
    assert set(kinds) == set(RepetitionKind)
    assert kinds.count(RepetitionKind.SERVE) >= 8


@pytest.mark.parametrize("start", GROUPS.values(), ids=GROUPS.keys())
def test_every_figure_is_within_its_limits(found: Mapping[str, Figure], start: str) -> None:
    limits = {name: limit for name, limit in read_limits().items() if name.startswith(start)}
    assert limits
    mine = {name: figure for name, figure in found.items() if name.startswith(start)}
    assert [str(failure) for failure in failures(mine, limits)] == []


def test_every_figure_belongs_to_a_group(found: Mapping[str, Figure]) -> None:
    assert [name for name in found if not name.startswith(tuple(GROUPS.values()))] == []


def test_intervals_hold_the_truth(found: Mapping[str, Figure]) -> None:
    # measured 0.955 of 492 values and 0.955 of 89 events
    for name in ("film | all metrics | coverage", "film | all events | coverage"):
        assert STATED[name][0] >= 0.93
        assert found[name].value >= STATED[name][0], name


@pytest.mark.parametrize("clip", ["000", "001", "002", "003", "004", "005", "007", "014", "019"])
def test_a_serve_film_is_understood(films: list[Measured], clip: str) -> None:
    film = next(f.film for f in films if f.clip == clip)
    assert film.kinds_found == film.kinds
    assert film.handedness_found == film.handedness
    assert film.view_found == film.view
    assert film.azimuth_error_deg is not None
    assert abs(film.azimuth_error_deg) <= 10.0  # measured: at most 8.1


def test_contacts_are_found_to_a_frame_at_30(films: list[Measured]) -> None:
    away = {
        event.clip: abs(event.seconds)
        for film in films
        for event in film.film.events
        if event.event == "contact" and event.seconds is not None and film.clip != "011"
    }
    # measured: at most 21 ms (15 ms with the lift that had learned from this way of moving), by
    # body alone, as frozen tracks hold no ball; 011: slow shadow work, whose hand hardly speeds up
    assert len(away) == 10
    assert max(away.values()) <= 1 / 30


def test_known_wrong_answers_are_still_wrong(films: list[Measured]) -> None:
    """When the engine learns one of them, take it out of the list, so that it is guarded."""
    wrong = {
        (film.clip, answer)
        for film in films
        for answer, same in (
            ("kinds", film.film.kinds == film.film.kinds_found),
            ("view", film.film.view == film.film.view_found or not film.film.kinds),
        )
        if not same
    }
    assert wrong == WRONG_ANSWERS


def test_the_truth_of_every_film_belongs_to_its_track(films: list[Measured]) -> None:
    for film in films:
        track = load(film.clip)
        assert len(track) > 60
        assert film.film.clip == film.clip
