"""Joints from files: C3D, npz and JSON give the same metrics as joints in memory."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from models.contract.errors import InvalidRequest
from models.contract.joints import Joints
from models.contract.skeleton import ANATOMICAL_BODY
from models.contract.vocabulary import EventName, Handedness
from models.training.rendered.bodies import raw_joints, simulated_track, times, true_motion, truth
from tests.unit.joints_in.motion_files import write_c3d, write_npz
from tests.unit.joints_v1 import as_version_1
from workers.engine.engine import analyse_motion
from workers.engine.interface import EngineRequest, EngineResult
from workers.joints_in.arrays import RawMotion, by_name, read_npz
from workers.joints_in.c3d import read_c3d
from workers.joints_in.measure import measure_file

pytest.importorskip("ezc3d")
REQUEST = EngineRequest(stature_m=1.8)


def raw(clip: str) -> RawMotion:
    document = truth(clip)
    return RawMotion(times(document), raw_joints(document))


def knee(result: EngineResult) -> float:
    metrics = result.repetitions[0].metrics
    found = next(
        m for m in metrics if m.key == "rear_knee_flexion" and m.event is EventName.LOADING
    )
    assert found.value is not None
    return found.value


@pytest.mark.parametrize("unit", ["mm", "m"])
def test_c3d_of_a_laboratory(tmp_path: Path, unit: str) -> None:
    path = tmp_path / "serve.c3d"
    write_c3d(path, raw("000"), truth("000")["fps"], list(ANATOMICAL_BODY), unit)
    assert read_c3d(path).joints == pytest.approx(raw("000").joints, abs=2e-4)
    [result] = measure_file(path, REQUEST)
    assert result.handedness is Handedness.RIGHT
    direct = analyse_motion(true_motion("000"), REQUEST)
    assert knee(result) == pytest.approx(knee(direct), abs=0.1)


def test_c3d_with_a_marker_map(tmp_path: Path) -> None:
    path = tmp_path / "markers.c3d"
    names = [f"M{i}" for i in range(len(ANATOMICAL_BODY))]
    write_c3d(path, raw("004"), truth("004")["fps"], names)
    markers = {joint: [names[i]] for i, joint in enumerate(ANATOMICAL_BODY)}
    [result] = measure_file(path, REQUEST, markers=markers)
    assert result.handedness is Handedness.LEFT
    with pytest.raises(InvalidRequest, match="NOT_THERE"):
        read_c3d(path, {"left_hip": ["NOT_THERE"]})


def test_c3d_without_the_joints_says_which(tmp_path: Path) -> None:
    path = tmp_path / "other.c3d"
    write_c3d(path, raw("000"), truth("000")["fps"], [f"M{i}" for i in range(len(ANATOMICAL_BODY))])
    with pytest.raises(InvalidRequest, match="left_shoulder"):
        read_c3d(path)


def test_npz_round_trip(tmp_path: Path) -> None:
    motion = raw("003")
    path = tmp_path / "motion.npz"
    path.write_bytes(write_npz(motion))
    again = read_npz(path.read_bytes())
    assert again.joints == pytest.approx(motion.joints)
    [result] = measure_file(path, REQUEST)
    assert len(result.repetitions) == 1


def test_npz_track_of_landmarks(tmp_path: Path) -> None:
    path = tmp_path / "track.npz"
    path.write_bytes(simulated_track("000").to_npz())
    [result] = measure_file(path, REQUEST)
    assert len(result.repetitions) == 1


def test_json_with_bodies_and_with_landmarks(tmp_path: Path) -> None:
    track = simulated_track("001")
    plain = tmp_path / "landmarks.json"
    plain.write_text(Joints.of(track).model_dump_json(by_alias=True), "utf-8")
    [result] = measure_file(plain, REQUEST)
    assert len(result.repetitions) == 1
    motion = true_motion("001")
    bodies = tmp_path / "bodies.json"
    bodies.write_text(Joints.of(track, (motion,)).model_dump_json(by_alias=True), "utf-8")
    [result] = measure_file(bodies, REQUEST)
    assert knee(result) == pytest.approx(knee(analyse_motion(motion, REQUEST)), abs=0.1)
    earlier = tmp_path / "earlier.json"
    earlier.write_bytes(as_version_1(bodies.read_bytes()))
    assert measure_file(earlier, REQUEST)[0].repetitions == result.repetitions


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("a.npz", b"not a zip"),
        ("a.json", b'{"schema": 3}'),
        ("a.json", b"not json"),
        ("a.c3d", b"not a c3d file at all"),
        ("a.txt", b"1 2 3"),
    ],
)
def test_other_files_are_refused_in_words(tmp_path: Path, name: str, content: bytes) -> None:
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(InvalidRequest):
        measure_file(path, REQUEST)


def test_npz_of_the_wrong_shape_or_clock() -> None:
    motion = raw("001")
    backwards = RawMotion(motion.time_s[::-1].copy(), motion.joints)
    with pytest.raises(InvalidRequest, match="increase"):
        read_npz(write_npz(backwards))
    short = RawMotion(motion.time_s[:4], motion.joints[:4])
    with pytest.raises(InvalidRequest, match="8 frames"):
        read_npz(write_npz(short))


def test_head_and_feet_may_be_missing() -> None:
    motion = raw("000")
    kept = [name for name in ANATOMICAL_BODY if not any(p in name for p in ("eye", "ear", "nose"))]
    points = motion.joints[:, ANATOMICAL_BODY.rows(kept)]
    filled = by_name(motion.time_s, kept, points)
    assert np.isfinite(filled.joints).all()
    ears = ANATOMICAL_BODY.pair("ear")
    true = motion.joints[:, ears].mean(axis=1)
    away = np.linalg.norm(filled.joints[:, ears].mean(axis=1) - true, axis=1)
    assert np.median(away) < 0.15
