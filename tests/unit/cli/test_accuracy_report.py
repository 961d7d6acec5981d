"""From compared clips to the accuracy document, and the page the command writes."""

from __future__ import annotations

import shlex
from pathlib import Path

import pytest
from typer.testing import CliRunner

import workers.cli.accuracy as command
from models.contract.vocabulary import EventName, Handedness, RepetitionKind, View
from models.registry import entry
from workers.cli.accuracy_report import accuracy_document, command_line
from workers.cli.app import build
from workers.engine.accuracy import ClipErrors, EventError, MetricError

KNEE = "front_knee_flexion@trophy"


def clip(
    name: str, view: View, fps: float, truth: float, value: float | None, seen: View | None = None
) -> ClipErrors:
    """One serve whose intervals are 5 degrees wide to both sides, and contact one frame late."""
    span = (None, None) if value is None else (value - 5.0, value + 5.0)
    return ClipErrors(
        clip=name,
        fps=fps,
        view=view,
        view_found=seen or view,
        azimuth_error_deg=-4.0,
        handedness=Handedness.RIGHT,
        handedness_found=Handedness.RIGHT,
        serves=1,
        serves_found=1,
        kinds=(RepetitionKind.SERVE,),
        kinds_found=(RepetitionKind.SERVE,),
        events=(EventError(name, EventName.CONTACT, view, fps, 1.0 / fps, 0.01),),
        metrics=(MetricError(name, KNEE, view, fps, truth, value, *span),),
    )


@pytest.fixture
def compared() -> list[ClipErrors]:
    return [
        clip("a", View.SIDE, 60.0, 60.0, 63.0),
        clip("b", View.SIDE, 60.0, 80.0, 73.0),
        clip("c", View.BEHIND, 30.0, 70.0, None, seen=View.REAR_QUARTER),
    ]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder that looks like films with their truth."""
    films = tmp_path / "films"
    films.mkdir()
    for name in "abc":
        (films / f"{name}.mp4").write_bytes(b"")
        (films / f"{name}.json").write_bytes(b"{}")
    return films


def test_figures_worked_out_by_hand(compared: list[ClipErrors]) -> None:
    document = accuracy_document(
        compared,
        about="three clips",
        command="servewright accuracy films",
        heights=True,
        failed={},
        seconds=0.5,
        networks=("blazepose_heavy",),
    )
    assert document.clip_set.frame_rates == {"30": 1, "60": 2}
    assert document.models[0].sha256 == entry("blazepose_heavy").sha256
    assert [(row.view, row.clips, row.serves) for row in document.views] == [
        ("side", 2, 2),
        ("behind", 1, 1),
        ("all", 3, 3),
    ]
    assert [row.view_class for row in document.views] == pytest.approx([1.0, 0.0, 2 / 3])
    assert document.views_seen() == (View.SIDE, View.BEHIND)
    side, behind, everywhere = document.metrics
    # errors +3 and -7 degrees; the second interval, 68 to 78, misses 80
    assert (side.bias, side.mae, side.coverage) == pytest.approx((-2.0, 5.0, 0.5))
    assert (side.measured, side.covered, side.unit) == (2, 1, "deg")
    assert (behind.measured, behind.mae, behind.covered) == (0, None, None)
    # the mean truth is 70 degrees: guessing it is off by 10, 10 and 0
    for row in (side, behind, everywhere):
        assert row.guess_mae == pytest.approx(20.0 / 3.0)
    assert everywhere.measurable == pytest.approx(2 / 3)
    contact = document.events[0]
    assert (contact.bias_ms, contact.within_one_frame) == pytest.approx((1000.0 / 60.0, 1.0))


def test_the_command_can_be_repeated_as_written() -> None:
    line = command_line(Path("/some/where/films"), Path("infra/accuracy"), "profile 'x', 3", False)
    assert shlex.split(line) == [
        *("servewright", "accuracy", "films", "--page", "infra/accuracy"),
        *("--about", "profile 'x', 3", "--no-heights"),
    ]


def run(*arguments: str) -> tuple[int, str]:
    done = CliRunner().invoke(build(), ["accuracy", *arguments])
    return done.exit_code, done.output


def test_page_and_picture_are_written(
    compared: list[ClipErrors], folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    measured = (compared, {"d.mp4": "video-unreadable"}, 0.5)
    monkeypatch.setattr(command, "compare_all", lambda *_, **__: measured)
    page = tmp_path / "new" / "page"
    code, output = run(str(folder), "--page", str(page), "--about", "three clips", "--json")
    assert code == 0, output
    text = (page / "README.md").read_text("utf-8")
    assert "3 films with 3 serves" in text
    assert "](accuracy.svg)" in text
    assert "servewright accuracy films --page page --about 'three clips'" in text
    assert entry("movenet_multipose").sha256 in text
    assert "d.mp4 (`video-unreadable`)" in text
    assert (page / "accuracy.svg").read_text("utf-8").startswith("<svg ")


def test_a_page_needs_its_origin(folder: Path, tmp_path: Path) -> None:
    assert run(str(folder), "--page", str(tmp_path / "p"))[0] == 2
    assert not (tmp_path / "p").exists()


def test_nothing_to_report_is_said(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(command, "compare_all", lambda *_, **__: ([], {"a.mp4": "x"}, None))
    code, output = run(str(folder), "--page", str(tmp_path / "p"), "--about", "x")
    assert code == 4
    assert "nothing to report" in output
    assert not (tmp_path / "p").exists()
