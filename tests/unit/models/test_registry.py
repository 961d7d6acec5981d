"""The registry hands out only files with the recorded digest."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from models import registry
from models.contract.errors import ModelFileDamaged, ModelUnknown
from models.packed import pack


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A copy of the smallest network with a manifest that lists it alone."""
    source = registry.FOLDER
    body = json.loads((source / "manifest.json").read_text())
    body["models"] = [m for m in body["models"] if m["name"] == "blazepose_full"]
    (tmp_path / "weights").mkdir()
    (tmp_path / "manifest.json").write_text(json.dumps(body))
    shutil.copy(source / "weights" / "blazepose_full.onnx.npz", tmp_path / "weights")
    return tmp_path


def test_every_shipped_network_has_its_recorded_digest() -> None:
    assert registry.names() == (
        "blazepose_full",
        "blazepose_heavy",
        "movenet_multipose",
        "movenet_thunder",
    )
    for name in registry.names():
        assert len(registry.load(name)) == registry.entry(name).bytes


def test_no_weights_lie_about_unlisted() -> None:
    listed = {registry.path(name).name for name in registry.names()}
    listed |= {record.file for record in registry.learned()}
    found = {p.name for p in (registry.FOLDER / "weights").iterdir()}
    assert {name for name in found if not name.startswith("LICENSE")} == listed


@pytest.mark.parametrize("record", registry.learned(), ids=lambda record: record.name)
def test_every_learned_file_has_its_recorded_digest_and_a_card(
    record: registry.LearnedEntry,
) -> None:
    assert len(registry.load_learned(record.name)) == record.bytes
    card = (registry.FOLDER / "cards" / f"{record.name}.md").read_text("utf-8")
    for needed in (record.title, record.sha256, record.licence, "What for", "Limits", "Made by"):
        assert needed in card


@pytest.fixture
def learned_folder(tmp_path: Path) -> Path:
    """A copy of the learned files and the manifest."""
    (tmp_path / "weights").mkdir()
    shutil.copy(registry.FOLDER / "manifest.json", tmp_path)
    for record in registry.learned():
        shutil.copy(registry.FOLDER / "weights" / record.file, tmp_path / "weights")
    return tmp_path


def test_learned_file_that_was_edited_is_refused(learned_folder: Path) -> None:
    file = learned_folder / "weights" / "calibration.json"
    file.write_text(file.read_text().replace("0.0", "0.1", 1))
    with pytest.raises(ModelFileDamaged, match=r"calibration\.json"):
        registry.load_learned("calibration", learned_folder)


def test_learned_file_that_is_missing_is_refused(learned_folder: Path) -> None:
    (learned_folder / "weights" / "lift.onnx").unlink()
    with pytest.raises(ModelFileDamaged, match="missing"):
        registry.load_learned("lift", learned_folder)


def test_unknown_learned_file_is_refused() -> None:
    with pytest.raises(ModelUnknown, match="no_such_file"):
        registry.load_learned("no_such_file")


def test_unknown_name_is_refused_and_says_which_exist() -> None:
    with pytest.raises(ModelUnknown, match=r"blazepose_full.*movenet_thunder") as caught:
        registry.load("no_such_network")
    assert caught.value.code == "model_unknown"


def test_one_flipped_bit_is_refused(folder: Path) -> None:
    file = registry.path("blazepose_full", folder)
    data = bytearray(file.read_bytes())
    data[len(data) // 2] ^= 1
    file.write_bytes(data)
    with pytest.raises(ModelFileDamaged, match=r"blazepose_full\.onnx"):
        registry.load("blazepose_full", folder)


def test_truncated_file_is_refused(folder: Path) -> None:
    file = registry.path("blazepose_full", folder)
    file.write_bytes(file.read_bytes()[:-1])
    with pytest.raises(ModelFileDamaged):
        registry.load("blazepose_full", folder)


def test_whole_file_of_another_network_is_refused(folder: Path) -> None:
    other = registry.load("blazepose_full")[:-1]
    registry.path("blazepose_full", folder).write_bytes(pack(other))
    with pytest.raises(ModelFileDamaged, match="another SHA-256"):
        registry.load("blazepose_full", folder)


def test_missing_file_is_refused(folder: Path) -> None:
    registry.path("blazepose_full", folder).unlink()
    with pytest.raises(ModelFileDamaged, match="missing"):
        registry.load("blazepose_full", folder)


@pytest.mark.parametrize("content", ["", "{", '{"format": "servewright-models-1"}'])
def test_damaged_manifest_is_refused(tmp_path: Path, content: str) -> None:
    (tmp_path / "manifest.json").write_text(content)
    with pytest.raises(ModelFileDamaged, match=r"manifest\.json"):
        registry.names(tmp_path)
