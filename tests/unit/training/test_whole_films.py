"""The sets of whole films are what their report says of them."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import pytest

from models.training.rendered.camera import view_label
from models.training.rendered.profiles import VIEWS
from models.training.whole_films.errors import Row
from models.training.whole_films.page import page
from models.training.whole_films.plan import SETS, UNSEEN, films, with_sound
from workers.engine.event_errors import RATES


def test_tuning_and_report_share_no_seed_and_only_the_report_has_the_unseen_generator() -> None:
    assert SETS["tune"].seed != SETS["report"].seed
    assert UNSEEN in dict(SETS["report"].generators)
    assert UNSEEN not in dict(SETS["tune"].generators)


@pytest.mark.parametrize("name", sorted(SETS))
def test_every_rate_place_and_generator_comes_up_half_with_sound(name: str) -> None:
    made = list(films(name, 60))
    assert {spec.fps for spec, _, _ in made} == set(RATES)
    assert {view_label(spec.camera.azimuth) for spec, _, _ in made} == set(VIEWS)
    assert {spec.generator for spec, _, _ in made} == set(dict(SETS[name].generators))
    pairs = {(spec.fps, spec.generator) for spec, _, _ in made}
    assert pairs == set(product(RATES, dict(SETS[name].generators)))
    places = {(view_label(spec.camera.azimuth), spec.generator) for spec, _, _ in made}
    assert places == set(product(VIEWS, dict(SETS[name].generators)))
    assert all(spec.kind == "serve" for spec, _, _ in made)
    assert sum(with_sound(i) for i in range(60)) == 30


def row(film: str, error_s: float | None, fps: float = 60.0) -> Row:
    found = "serve" if error_s is not None else ""
    sd = None if error_s is None else 0.005
    return Row(
        film, UNSEEN, "side", fps, 1.0 / fps, False, "contact", found, error_s, sd, 0.9, "ball"
    )


def test_the_page_counts_what_was_not_found_as_missed() -> None:
    rows = [row("0", 0.004), row("1", 0.02), row("2", None), row("3", 0.03, 30.0)]
    text = page(rows, "drawn")
    assert "1 of them were not found to be a serve" in text
    asked = next(line for line in text.splitlines() if line.startswith("| contact within a frame"))
    # 60 frames per second and more: one of three near enough, one of the two that are given
    assert asked.endswith("| 95% | 33% of 3 | 33% of 3 | 50% of 2 |")
    assert "| contact | 60 | 3 | 2 |" in text


def test_an_interval_holds_or_not() -> None:
    assert row("0", 0.0097).held is True
    assert row("0", 0.0099).held is False
    assert replace(row("0", None), confidence=None).held is None
