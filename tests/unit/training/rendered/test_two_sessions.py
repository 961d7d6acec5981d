"""The shares of error between films of one place, from players whose errors are known."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from models.contract.analysis import ViewEstimate
from models.contract.metrics.definition import metric_name
from models.contract.vocabulary import View
from models.training.rendered.session_errors import ANY_VIEW, Filmed, Player, shares
from tests.unit.decide.builders import analysis, metric, repetition

SD = 2.0
FROM_THE_SIDE = ViewEstimate(label=View.SIDE, azimuth_deg=90.0)
KEYS = tuple(f"metric_{letter}" for letter in "abcdefgh")


def players(count: int, session: float, serve: float, shown: float = 1.0) -> list[Player]:
    """Players whose errors are normal; half of the metrics truly move by three uncertainties, and
    films show a share of that.
    """
    rng = np.random.default_rng(8)
    made = []
    for number in range(count):
        true = {key: 3.0 * SD * (i % 2) * rng.choice((-1.0, 1.0)) for i, key in enumerate(KEYS)}
        sides = []
        for moved in (0.0, 1.0):
            common = {key: session * SD * rng.normal() for key in KEYS}
            films = []
            for _ in range(4):
                error = {key: common[key] + serve * SD * rng.normal() for key in KEYS}
                seen = repetition(
                    *(
                        metric(key, moved * shown * true[key] + error[key], half=1.959964 * SD)
                        for key in KEYS
                    )
                )
                names = {
                    metric_name(one.key, one.event): moved * true[one.key] for one in seen.metrics
                }
                truth = SimpleNamespace(repetitions=[SimpleNamespace(metrics=names)])
                film = analysis(seen).model_copy(update={"view": FROM_THE_SIDE})
                films.append(Filmed(film, truth))  # type: ignore[arg-type]
            sides.append(tuple(films))
        made.append(Player(number, sides[0], sides[1], ()))
    return made


def test_shares_are_found_again() -> None:
    table = shares(players(60, session=0.3, serve=0.4))
    assert {name for name, view in table if view == ANY_VIEW} == {f"{k}@trophy" for k in KEYS}
    assert {view for _, view in table} == {ANY_VIEW, "side"}
    found = np.array([row[:2] for row in table.values()])
    assert found.mean(axis=0) == pytest.approx([0.3, 0.4], abs=0.02)
    assert all(row[4] == 60 for row in table.values())


def test_a_film_that_shows_half_of_a_step_is_no_error_where_nothing_moves() -> None:
    whole, half = (shares(players(60, 0.3, 0.4, shown)) for shown in (1.0, 0.5))
    for name, row in whole.items():
        assert half[name][:2] == pytest.approx(row[:2], abs=0.03)


def test_the_least_share_of_a_step_that_films_show() -> None:
    """Errors of 0.35 uncertainties over steps of 3, about a half: from about a quarter on."""
    table = shares(players(60, 0.3, 0.4, 0.5))
    assert [row[2] for row in table.values()] == pytest.approx([0.27] * len(table), abs=0.06)
    assert [row[3] for row in table.values()] == pytest.approx([0.5] * len(table), abs=0.08)
    assert min(row[2] for row in shares(players(60, 0.03, 0.04)).values()) > 0.9


def test_players_whose_camera_moved_are_left_out() -> None:
    one, *others = players(12, 0.3, 0.4)
    elsewhere = ViewEstimate(label=View.BEHIND, azimuth_deg=180.0)
    film = one.second[0].analysis.model_copy(update={"view": elsewhere})
    moved = replace(one, second=(replace(one.second[0], analysis=film), *one.second[1:]))
    assert shares([moved, *others]) == shares(others) != {}


def test_few_players_give_no_share() -> None:
    assert shares(players(7, 0.3, 0.4)) == {}


def test_errors_beyond_the_stated_uncertainty_make_whole_shares() -> None:
    table = shares(players(30, 1.2, 0.9))
    assert len(table) == 2 * len(KEYS)
    for session, serve, *_ in table.values():
        assert np.hypot(session, serve) == pytest.approx(1.0, abs=0.01)
