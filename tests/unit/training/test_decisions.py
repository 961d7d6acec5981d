"""Decisions on invented players: the films drawn err as they state, and wrong ones are counted."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import replace

import numpy as np
import pytest

from models.training.decisions.__main__ import drawn
from models.training.decisions.coiling import TrueCoil
from models.training.decisions.filmed import SERVE_TO_SERVE, Camera
from models.training.decisions.judged import Decision
from models.training.decisions.players import Player
from models.training.decisions.table import counted, table, tables
from workers.learned import load

TRUE = {
    "rear_foot_load_share@loading": 0.30,
    "shoulder_line_tilt@trophy": 24.0,
    "hip_shoulder_separation@trophy": 25.0,
    "pelvis_turn@loading": 24.0,
    "shoulder_turn@loading": 40.0,
}


def said_of(decisions: Iterable[Decision]) -> dict[str, str]:
    return {one.about: one.how for one in decisions}


def _camera(number: int) -> Camera:
    return Camera(load().learned.calibration, np.random.default_rng(number), TRUE)


def test_intervals_of_drawn_films_hold_the_true_value() -> None:
    inside, widths = [], []
    for number in range(300):
        film, true = _camera(number).film(TRUE, 1)
        for metric in film.repetitions[0].metrics:
            name = f"{metric.key}@{metric.event.value}"
            if metric.measurable:
                inside.append(metric.low <= true[0][name] <= metric.high)
                widths.append(metric.repeat_sd / ((metric.high - metric.low) / 3.92))
    # 95 % intervals of errors with the same variance and heavier tails: 94 to 96 % (Student t, 6).
    assert len(inside) > 1000
    assert np.mean(inside) == pytest.approx(0.95, abs=0.02)
    assert max(widths) <= 1.0 + 1e-6


def test_films_of_one_place_err_alike() -> None:
    camera = _camera(1)
    values = [
        m.value
        for _ in range(40)
        for m in camera.film(TRUE, 1)[0].repetitions[0].metrics
        if m.key == "rear_foot_load_share"
    ]
    film, _ = camera.film(TRUE, 1)
    metric = next(m for m in film.repetitions[0].metrics if m.key == "rear_foot_load_share")
    whole = (metric.high - metric.low) / 3.92
    assert np.std(values) == pytest.approx(
        np.hypot(metric.repeat_sd, SERVE_TO_SERVE * whole), rel=0.35
    )
    assert np.std(values) < 0.6 * whole


def test_right_and_wrong_are_told_apart_by_what_is_true() -> None:
    after = TRUE | {"rear_foot_load_share@loading": 0.60}
    player = Player("a", 0.3, True, "kept", 0.80, TRUE, after, after, TrueCoil(40.0, 40.0))
    said = said_of(drawn(player, _camera(3)))
    assert said["finding: weight not on rear foot"] == "right"
    assert said["change of the load"] == "right"
    assert said["drill: static hold"] == "right"
    assert said["finding: squat not coil"] == "right"
    # The same films of a player of whom something else is true.
    none = said_of(drawn(replace(player, course="no_gain"), _camera(3)))
    assert none["change of the load"] == "wrong"
    bent = replace(player, coil=TrueCoil(-60.0, 40.0))
    assert said_of(drawn(bent, _camera(3)))["finding: squat not coil"] == "right"
    # Nobody can tell a turn at the limit.
    limit = replace(player, coil=TrueCoil(0.15 * 40.0, 40.0))
    found = [said_of(drawn(limit, _camera(n)))["finding: squat not coil"] for n in range(12)]
    assert found.count("undecided") >= 4
    away = [one.away for one in drawn(limit, _camera(1)) if "squat" in one.about]
    assert away == pytest.approx([0.0], abs=1e-9)
    lines = table({"one": Counter(right=3, wrong=1, undecided=4, near=2)})
    assert "| one | 8 | 37.5 % | 12.5 % | 50.0 % | 25.0 % |" in lines


def test_what_is_undecided_near_its_limit_is_told_apart() -> None:
    counts: dict[str, Counter[str]] = {}
    found = [("undecided", 0.4), ("undecided", 1.8), ("undecided", None), ("right", 0.2)]
    counted(counts, [Decision("a", how, away) for how, away in found])
    assert counts["a"] == Counter(undecided=3, near=1, right=1)


def test_each_frame_rate_has_a_table_besides_that_of_all() -> None:
    fast, slow = {"a": Counter(right=3)}, {"a": Counter(wrong=1), "b": Counter(undecided=1)}
    lines = tables({"60": fast, "30": slow})
    assert lines[2] == "| a | 4 | 75.0 % | 25.0 % | 0.0 % | 0.0 % |"
    places = [
        lines.index(f"Players whose serves were filmed at {n} frames a second:") for n in (30, 60)
    ]
    assert lines[places[0] + 4] == "| a | 1 | 0.0 % | 100.0 % | 0.0 % | 0.0 % |"
    assert lines[places[1] + 4] == "| a | 3 | 100.0 % | 0.0 % | 0.0 % | 0.0 % |"
    assert not any("frames a second" in line for line in tables({"60": fast}))
