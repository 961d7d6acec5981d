"""What a value tells of a player, by hand; truth of packed films against the documents."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from models.contract.vocabulary import EventName, RepetitionKind, View
from models.training.information import page, read_bounds, rows_of
from models.training.packed_films import PackedFilm, packs_of
from models.training.packed_measure import film_truth
from models.training.rendered.bodies import simulated_track, true_motion, truth
from workers.engine.accuracy import MetricError
from workers.engine.truth import EVENTS, read_truth


def error(true: float, told: float | None, view: View = View.SIDE) -> MetricError:
    half = None if told is None else 2.0
    low, high = (None, None) if told is None or half is None else (told - half, told + half)
    return MetricError("film", "elbow_flexion@contact", view, 60.0, true, told, low, high)


def test_correlation_slope_and_bound_of_a_row(tmp_path: Path) -> None:
    """Half of each difference is shown, ten added: r2 1, slope 0.5, bias 10 - x / 2."""
    true = np.arange(20.0)
    errors = [error(t, 10.0 + 0.5 * t) for t in true] + [error(3.0, None)]
    bounds = tmp_path / "bounds.json"
    row = {"metric": "elbow_flexion@contact", "view": "side", "r2": 0.9, "mae": 1.5}
    bounds.write_text(json.dumps({"bounds": [row]}))
    films = {("elbow_flexion@contact", "side"): (0.8, 2.5)}
    everywhere, found = rows_of(errors, read_bounds(bounds), films)
    assert (everywhere.view, everywhere.bound_r2) == ("all", None)
    assert everywhere.r2 == found.r2
    assert (found.count, found.reported) == (21, 20)
    assert found.r2 == pytest.approx(1.0)
    assert found.slope == pytest.approx(0.5)
    assert found.bias == pytest.approx(10.0 - 0.5 * true.mean())
    assert found.held == pytest.approx(np.mean(np.abs(10.0 - 0.5 * true) <= 2.0))
    assert (found.bound_r2, found.bound_mae) == (0.9, 1.5)
    assert (found.films_r2, found.films_mae) == (0.8, 2.5)
    text = page([everywhere, found], "About.")
    assert "| 20 (21) | 1.00 | 0.90 | 0.80 | 0.50 |" in text
    assert "| 20 (21) | 1.00 | – | – | 0.50 |" in text


def test_few_values_make_no_row() -> None:
    assert rows_of([error(1.0, 1.0) for _ in range(11)], {}) == []


def test_true_values_of_a_film_agree_with_its_document() -> None:
    """The document's values were computed without the engine."""
    document = truth("002")
    known = read_truth(document, "002")
    times = document["serves"][0]["event_times_s"]
    film = PackedFilm(
        name="two",
        kind=RepetitionKind.SERVE,
        generator="template",
        track=simulated_track("002"),
        motion=true_motion("002"),
        events={EVENTS[key]: float(when) for key, when in times.items() if key in EVENTS},
        camera=np.zeros(3),
        azimuth_deg=known.azimuth_deg,
        fps=known.fps,
    )
    found = film_truth(film)
    assert found.view is known.view
    (mine,), (theirs,) = found.repetitions, known.repetitions
    assert mine.events[EventName.CONTACT] == theirs.events[EventName.CONTACT]
    held = 0
    for name, value in theirs.metrics.items():
        if "speed" in name or name.startswith(("sequence", "rear_foot_load_share_dynamic")):
            continue  # derivatives at the frame rate are smoothed
        assert mine.metrics[name] == pytest.approx(value, abs=max(0.02 * abs(value), 0.35)), name
        held += 1
    assert held >= 25


def test_folders_of_packs_are_their_packs_in_order(tmp_path: Path) -> None:
    for name in ("pack-0001.npz", "pack-0000.npz", "notes.txt"):
        (tmp_path / name).touch()
    alone = tmp_path / "elsewhere.npz"
    packs = [tmp_path / "pack-0000.npz", tmp_path / "pack-0001.npz"]
    assert packs_of([alone, tmp_path]) == [alone, *packs]
