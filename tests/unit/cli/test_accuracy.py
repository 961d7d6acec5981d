"""The accuracy command on cached joint tracks: tables, JSON, Markdown."""

from __future__ import annotations

import gzip
import hashlib
import json
import pickle
from pathlib import Path

import pytest
from typer.testing import CliRunner

from models.training import calibration, load_truth
from models.training.packed_measure import Measured
from models.training.rendered.bodies import DATA, simulated_track
from service.core.settings import Settings
from workers.cli.accuracy import compare_all, find_pairs, joint_track
from workers.cli.app import build
from workers.engine.truth import read_truth


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Three films whose joints are in the cache, so that nothing is decoded."""
    films = tmp_path / "films"
    cache = tmp_path / "cache"
    films.mkdir()
    cache.mkdir()
    models = "+".join(Settings().models).encode()
    for clip in ("000", "004", "008"):
        film = films / f"{clip}.mp4"
        film.write_bytes(b"film " + clip.encode())
        (films / f"{clip}.json.gz").write_bytes((DATA / f"{clip}.json.gz").read_bytes())
        assert load_truth.main([str(films)]) == 0
        key = hashlib.sha256(film.read_bytes() + models).hexdigest()[:16]
        (cache / f"{clip}-{key}.npz").write_bytes(simulated_track(clip).to_npz())
    return tmp_path


def test_json_tables_of_a_folder(folder: Path) -> None:
    page = folder / "page.md"
    run = CliRunner().invoke(
        build(),
        [
            "accuracy",
            str(folder / "films"),
            "--cache",
            str(folder / "cache"),
            "--json",
            "--markdown",
            str(page),
        ],
    )
    assert run.exit_code == 0, run.output
    report = json.loads(run.stdout)
    assert report["clips"]["clips"] == 3
    assert report["clips"]["count_exact"] == 1.0
    assert report["clips"]["handedness_exact"] == 1.0
    assert report["failed"] == {}
    contact = [r for r in report["events"] if r["event"] == "contact" and r["view"] == "all"]
    assert contact[0]["count"] == 2
    # by the body alone, which knows no ball
    assert contact[0]["mae_ms"] < 25.0
    names = {row["name"] for row in report["metrics"]}
    assert {"front_knee_flexion@trophy", "rear_foot_load_share@loading"} <= names
    assert "| front_knee_flexion@trophy | side |" in page.read_text("utf-8")


def test_a_calibration_of_what_was_measured(folder: Path) -> None:
    pairs = find_pairs(folder / "films")
    compared, failed, _ = compare_all(pairs, folder / "cache", heights=True, all_metrics=True)
    assert failed == {}
    for number, errors in enumerate(compared):
        measured = pickle.dumps(Measured(errors, seconds=1.0))
        (folder / f"{number}.pickle").write_bytes(measured)
    table = folder / "table.json"
    about = ["--about", "three films", "--flat-count", "3"]
    assert calibration.main([str(folder), *about, "--out", str(table)]) == 0
    written = json.loads(table.read_text("utf-8"))
    assert written["made_by"] == "python -m models.training calibration, from three films"
    rows = written["metrics"]
    assert ["front_knee_flexion@trophy", "side", "usual"] in [row[:3] for row in rows]
    assert {"kinematic_fit", "learned_lift", "fit_and_lift"} <= {row[3] for row in rows}


def test_a_calibration_without_films_writes_nothing(tmp_path: Path) -> None:
    table = tmp_path / "table.json"
    assert calibration.main([str(tmp_path), "--about", "none", "--out", str(table)]) == 4
    assert not table.exists()


def test_tables_in_words(folder: Path) -> None:
    run = CliRunner().invoke(
        build(), ["accuracy", str(folder / "films"), "--cache", str(folder / "cache")]
    )
    assert run.exit_code == 0, run.output
    assert "handedness exact: 1" in run.stdout


def test_a_folder_without_pairs_is_refused(tmp_path: Path) -> None:
    (tmp_path / "alone.mp4").write_bytes(b"x")
    run = CliRunner().invoke(build(), ["accuracy", str(tmp_path)])
    assert run.exit_code == 4


def test_pairs_prefer_plain_json_and_are_in_order(tmp_path: Path) -> None:
    for name in ("b.mp4", "a.mp4", "a.json", "b.json.gz", "a.json.gz", "c.mp4"):
        (tmp_path / name).write_bytes(b"")
    names = [(film.name, truth.name) for film, truth in find_pairs(tmp_path)]
    assert names == [("a.mp4", "a.json"), ("b.mp4", "b.json.gz")]


def test_a_damaged_cache_entry_is_not_believed(folder: Path) -> None:
    [kept] = (folder / "cache").glob("000-*.npz")
    kept.write_bytes(b"cut short")
    truth = read_truth(json.loads(gzip.decompress((DATA / "000.json.gz").read_bytes())))
    with pytest.raises(Exception, match="video"):
        # the stand-in film is no film: measuring anew is what fails
        joint_track(folder / "films" / "000.mp4", truth, folder / "cache")
    assert not kept.exists()
