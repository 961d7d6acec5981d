from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from models import registry
from models.contract.analysis import Analysis
from models.contract.errors import ClipDamaged, FilmsNoPair
from models.contract.resources import Events, Metrics
from models.contract.tracks import JointTrack
from models.contract.views import SecondView
from tests.films import RENDERED
from tests.unit.cli.conftest import Invoke
from tests.unit.pipeline.fakes import PICTURE, FakeClip, engine, stages
from workers.cli.console import Exit
from workers.engine.interface import EngineResult
from workers.jobs import configured
from workers.learned import load
from workers.pipeline.run import StageFunctions

PROJECT = Path(__file__).resolve().parents[3]


@pytest.fixture
def film(tmp_path: Path) -> Path:
    path = tmp_path / "serve.mp4"
    path.write_bytes(b"film")
    return path


@pytest.fixture
def use(monkeypatch: pytest.MonkeyPatch) -> Callable[[StageFunctions], None]:
    def replace(chosen: StageFunctions) -> None:
        monkeypatch.setattr(configured, "shared_stages", lambda _settings: chosen)

    return replace


def test_json_is_the_analysis_document_and_nothing_else(
    invoke: Invoke, use: Callable[[StageFunctions], None], film: Path, tmp_path: Path
) -> None:
    use(stages(FakeClip()))
    shown = invoke("analyse", str(film), "--json")
    assert shown.exit_code == 0
    document = Analysis.model_validate_json(shown.stdout)
    assert len(document.repetitions) == 1
    assert json.loads(shown.stdout)["schema"].endswith("analysis.v2.json")
    assert [p.name for p in tmp_path.iterdir() if p.is_dir() and p.name.endswith("result")] == []


def test_files_are_written(
    invoke: Invoke, use: Callable[[StageFunctions], None], film: Path, tmp_path: Path
) -> None:
    use(stages(FakeClip()))
    shown = invoke("analyse", str(film))
    folder = tmp_path / "serve-result"
    assert shown.exit_code == 0
    assert "Serve 1" in shown.stdout
    assert str(folder.name) in shown.stdout
    result = Analysis.model_validate_json((folder / "result.json").read_bytes())
    assert Events.of(result) == Events.model_validate_json((folder / "events.json").read_bytes())
    assert Metrics.of(result) == Metrics.model_validate_json((folder / "metrics.json").read_bytes())
    assert len(JointTrack.from_npz((folder / "joints.npz").read_bytes())) == 10
    assert (folder / "joints.json").is_file()
    assert (folder / "pictures" / "serve-1-trophy.jpg").read_bytes() == PICTURE


def test_second_run_leaves_no_picture_of_the_first(
    invoke: Invoke, use: Callable[[StageFunctions], None], film: Path, tmp_path: Path
) -> None:
    out = tmp_path / "out"
    use(stages(FakeClip(), measure=engine(2)))
    invoke("analyse", str(film), "--out", str(out))
    use(stages(FakeClip(), measure=engine(1)))
    invoke("analyse", str(film), "--out", str(out))
    assert [p.name for p in (out / "pictures").iterdir()] == ["serve-1-trophy.jpg"]


def test_file_that_cannot_be_analysed_is_exit_code_3_and_says_what_to_do(
    invoke: Invoke, use: Callable[[StageFunctions], None], film: Path
) -> None:
    use(stages(FakeClip(fail_at=1, error=ClipDamaged())))
    shown = invoke("analyse", str(film), "--json")
    assert shown.exit_code == Exit.CLIP
    assert shown.stdout == ""
    assert "clip_damaged" in shown.stderr
    assert "Send it again" in shown.stderr


def test_film_without_a_serve_is_a_finished_analysis(
    invoke: Invoke, use: Callable[[StageFunctions], None], film: Path
) -> None:
    use(stages(FakeClip(), measure=engine(0)))
    shown = invoke("analyse", str(film))
    assert shown.exit_code == 0
    assert "no_serve_found" in shown.stdout


@pytest.mark.parametrize(
    ("option", "value"), [("--height-m", "5"), ("--capture-fps", "-1"), ("--view", "moon")]
)
def test_impossible_options_are_refused(
    invoke: Invoke, film: Path, option: str, value: str
) -> None:
    assert invoke("analyse", str(film), option, value).exit_code == Exit.USAGE


def test_unwritable_folder_is_said(
    invoke: Invoke, use: Callable[[StageFunctions], None], film: Path
) -> None:
    use(stages(FakeClip()))
    shown = invoke("analyse", str(film), "--out", str(film / "below"))
    assert shown.exit_code == Exit.INSTALLATION
    assert "Cannot write" in shown.stderr


def test_the_real_pipeline_measures_a_rendered_serve(tmp_path: Path) -> None:
    environment = os.environ | {
        "SERVEWRIGHT_DATA_DIR": str(tmp_path),
        "SERVEWRIGHT_MODELS": '["blazepose_full"]',
    }
    film = RENDERED / "001.mp4"
    done = subprocess.run(
        [sys.executable, "-m", "workers.cli", "analyse", str(film), "--json"],
        cwd=PROJECT,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    document = Analysis.model_validate_json(done.stdout)
    assert [r.kind.value for r in document.repetitions] == ["serve"]
    times = [document.repetitions[0].events[e].time_s for e in ("release", "trophy", "contact")]
    assert times == sorted(times)
    learned = {record.name for record in registry.learned()}
    assert {m.name for m in document.models} == {"blazepose_full", "movenet_multipose"} | learned
    assert document.engine_identity == load().identity


def test_two_films_of_one_serve_are_told_with_angle_and_clocks(
    invoke: Invoke, use: Callable[[StageFunctions], None], film: Path
) -> None:
    second = SecondView(
        offset_s=0.5,
        offset_low=0.49,
        offset_high=0.51,
        apart_deg=-80.0,
        apart_low=-85.0,
        apart_high=-75.0,
        synchronised_by="movement",
    )
    found = engine(second=second)
    use(stages(FakeClip(), measure_pair=lambda one, _two, request: found(one, request)))
    other = film.with_name("other.mp4")
    other.write_bytes(b"another film")
    shown = invoke(
        "analyse", str(film), "--same-serve", str(other), "--out", str(film.parent / "o")
    )
    assert shown.exit_code == 0
    assert "camera 80° (±5°) beside the first; clocks 0.500 s (±0.010 s) apart" in shown.stdout
    document = Analysis.model_validate_json((film.parent / "o" / "result.json").read_bytes())
    assert document.second_view is not None
    assert document.second_view.clip is not None
    assert document.second_view.clip.sha256 != document.clip.sha256


def test_films_that_are_no_pair_end_as_unusable_and_say_what_to_film(
    invoke: Invoke, use: Callable[[StageFunctions], None], film: Path
) -> None:
    def no_pair(*_: object) -> EngineResult:
        raise FilmsNoPair

    use(stages(FakeClip(), measure_pair=no_pair))
    shown = invoke("analyse", str(film), "--same-serve", str(film))
    assert shown.exit_code == Exit.CLIP
    assert "60 to 100 degrees apart" in " ".join(shown.stderr.split())


def test_a_second_film_does_not_go_with_stored_joints(invoke: Invoke, film: Path) -> None:
    shown = invoke("analyse", "--again", str(film.parent), "--same-serve", str(film))
    assert shown.exit_code == Exit.USAGE
