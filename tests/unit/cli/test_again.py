"""``analyse --again``: a result is made anew from its stored joints, without its film."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import pytest

from models.contract.analysis import MINOR_CAUTIONS, Analysis
from models.contract.clip import ClipFacts
from models.contract.faces import Faces
from models.contract.vocabulary import Handedness
from models.training.guard import frozen
from tests.films import RENDERED
from tests.unit.cli.conftest import Invoke
from tests.unit.version_1 import DATA
from workers.cli.console import Exit
from workers.cli.result_folder import write_result
from workers.engine.interface import EngineRequest
from workers.learned import load
from workers.pipeline.run import PipelineResult, merge, with_cautions

FILM = RENDERED / "001.mp4"


@pytest.fixture(scope="module")
def made() -> PipelineResult:
    """What an earlier engine said of a frozen track, with an event where there is none now."""
    track = frozen.load("001")
    request = EngineRequest(stature_m=1.83, handedness=Handedness.RIGHT)
    found = load().analyse(track, request)
    facts = ClipFacts(
        duration_s=float(track.time_s[-1]),
        frame_rate=30.0,
        frames=len(track),
        width=track.width,
        height=track.height,
        sha256=hashlib.sha256(FILM.read_bytes()).hexdigest(),
    )
    analysis = merge(facts, [], [], found, request, load().models, load().identity)
    return PipelineResult(with_cautions(analysis, MINOR_CAUTIONS), track, found.bodies)


@pytest.fixture
def folder(made: PipelineResult, tmp_path: Path) -> Path:
    """The result as an earlier engine wrote it, with a picture."""
    stale = made.analysis.model_copy(update={"engine_identity": "0" * 64})
    path = tmp_path / "serve-result"
    write_result(
        PipelineResult(stale, made.track, made.bodies, {"1-contact.jpg": b"picture"}), path
    )
    return path


def result(folder: Path) -> Analysis:
    return Analysis.model_validate_json((folder / "result.json").read_bytes())


def test_what_was_told_holds_again_and_the_engine_is_that_of_now(
    invoke: Invoke, folder: Path, made: PipelineResult
) -> None:
    shown = invoke("analyse", "--again", str(folder))
    assert shown.exit_code == 0, shown.stderr
    assert "earlier result" in shown.stdout
    assert result(folder) == made.analysis
    assert (folder / "pictures" / "1-contact.jpg").read_bytes() == b"picture"


def test_a_new_height_is_taken_and_the_earlier_folder_is_kept(
    invoke: Invoke, folder: Path, tmp_path: Path
) -> None:
    before = (folder / "result.json").read_bytes()
    out = tmp_path / "other"
    shown = invoke("analyse", "--again", str(folder), "--height-m", "1.6", "--out", str(out))
    assert shown.exit_code == 0, shown.stderr
    assert result(out).scale.metres_per_body_height == 1.6
    assert result(out).handedness_source == "given"
    assert (folder / "result.json").read_bytes() == before


def test_with_its_film_pictures_are_made_anew(invoke: Invoke, folder: Path) -> None:
    shown = invoke("analyse", str(FILM), "--again", str(folder))
    assert shown.exit_code == 0, shown.stderr
    pictures = sorted((folder / "pictures").iterdir())
    assert pictures
    assert all(picture.read_bytes()[:2] == b"\xff\xd8" for picture in pictures)


def test_another_film_is_refused_and_nothing_is_written(invoke: Invoke, folder: Path) -> None:
    before = (folder / "result.json").read_bytes()
    shown = invoke("analyse", str(RENDERED / "000.mp4"), "--again", str(folder))
    assert shown.exit_code == Exit.USAGE
    assert "is not the film" in shown.stderr.replace("\n", " ")
    assert (folder / "result.json").read_bytes() == before


def test_without_film_and_result_it_says_what_to_name(invoke: Invoke) -> None:
    shown = invoke("analyse")
    assert shown.exit_code == 2
    assert "--again" in shown.stderr


def test_a_folder_without_joints_is_refused(invoke: Invoke, folder: Path) -> None:
    (folder / "joints.npz").unlink()
    shown = invoke("analyse", "--again", str(folder))
    assert shown.exit_code != 0
    assert "joints" in shown.stderr


def test_of_a_result_of_version_1_what_was_told_and_the_cautions_hold(
    invoke: Invoke, folder: Path
) -> None:
    stored = json.loads((DATA / "result.json").read_text())
    stored["cautions"] += [str(caution) for caution in MINOR_CAUTIONS]
    (folder / "result.json").write_text(json.dumps(stored))
    shown = invoke("analyse", "--again", str(folder))
    assert shown.exit_code == 0, shown.stderr
    now = result(folder)
    assert json.loads((folder / "result.json").read_bytes())["schema"].endswith("analysis.v2.json")
    assert now.cautions[-2:] == MINOR_CAUTIONS
    assert now.scale.metres_per_body_height == 1.83
    assert len(now.repetitions) == len(stored["repetitions"])


def test_a_result_of_a_later_version_is_refused(invoke: Invoke, folder: Path) -> None:
    file = folder / "result.json"
    file.write_text(file.read_text().replace("analysis.v2.json", "analysis.v9.json"))
    for command in (
        ("analyse", "--again", str(folder)),
        ("compare", str(folder), str(folder.parent)),
    ):
        shown = invoke(*command)
        assert shown.exit_code == Exit.USAGE
        assert "not a result of this version" in " ".join(shown.stderr.split())


def test_faces_are_hidden_from_the_film_and_stay_so(invoke: Invoke, folder: Path) -> None:
    before = (folder / "result.json").read_bytes()
    refused = invoke("analyse", "--again", str(folder), "--faces", "hidden")
    assert refused.exit_code == Exit.USAGE
    assert "show faces" in refused.stderr.replace("\n", " ")
    for command in ("compare", "plan"):
        material = [str(folder), str(FILM)][: 2 if command == "compare" else 1]
        refused = invoke(command, *material, "--faces", "hidden")
        assert refused.exit_code == Exit.USAGE, command
    assert (folder / "result.json").read_bytes() == before

    drawn = []
    for options in ([], ["--faces", "hidden"], []):
        done = invoke("analyse", str(FILM), "--again", str(folder), *options)
        assert done.exit_code == 0, done.stderr
        drawn.append({one.name: one.read_bytes() for one in (folder / "pictures").iterdir()})
    assert result(folder).faces is Faces.HIDDEN  # what it was told holds again
    assert set(drawn[0]) == set(drawn[1])
    assert all(drawn[0][name] != drawn[1][name] for name in drawn[0])
    assert drawn[1] == drawn[2]
