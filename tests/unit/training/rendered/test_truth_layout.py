"""The truth written today has the layout of the committed clips, and hangs together."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from models.training.rendered.__main__ import main
from models.training.rendered.camera import CameraSpec, make_camera, view_label
from models.training.rendered.dataset import COMMITTED, clips, load_truth
from models.training.rendered.knobs import ServeKnobs
from models.training.rendered.performance import perform
from models.training.rendered.skeleton import sample_skeleton
from models.training.rendered.truth import clip_truth
from models.training.rendered.truth_measures import FORMULAS


def made(left_handed=False, kind="serve", azimuth=70.0, jitter=0.0, rate=30.0):
    skeleton = sample_skeleton(np.random.default_rng(2))
    performance = perform(kind, skeleton, ServeKnobs(), left_handed=left_handed)
    times = np.arange(int(performance.duration * rate)) / rate
    spec = CameraSpec(azimuth=azimuth, jitter=jitter, roll=2.0)
    where = np.array([-0.4, 0.75 if left_handed else -0.75, 0.9])
    camera = make_camera(spec, where, left_handed, (640, 480), len(times))
    return clip_truth(performance, camera, times, rate)


def same_shape(old, new, path=""):
    """Every key of the committed layout is there, with values of the same kind."""
    if isinstance(old, dict):
        assert isinstance(new, dict), path
        for key in old:
            assert key in new, f"{path}.{key}"
            same_shape(old[key], new[key], f"{path}.{key}")
    elif isinstance(old, list) and old and new:
        same_shape(old[0], new[0], path + "[]")
    elif old is not None and new is not None:
        assert isinstance(new, (int, float)) == isinstance(old, (int, float)), path


def test_layout_is_that_of_the_committed_clips():
    old, new = load_truth(COMMITTED / "000"), made()
    for key in ("params", "phenotype", "formulas", "spec", "post"):
        old.pop(key)  # what was asked for, and free text
    for key in ("clip", "profile", "seed", "shutter_s", "crf", "feet_out_of_frame", "n_people"):
        old.pop(key)  # added by the set command
    old["serves"][0]["metrics"]["trophy"].pop("rear_load_share_mesh_volume")  # needs a mesh
    same_shape(old, new)
    assert old["joint_names"] == new["joint_names"]


def test_pixels_are_the_projection_of_the_joints():
    truth = made(jitter=2.0)
    camera = {k: np.array(truth["camera"][k]) for k in ("K", "R", "t")}
    x = np.array(truth["joints3d"]) @ camera["R"].T + camera["t"]
    uv = x @ camera["K"].T
    uv = uv[..., :2] / uv[..., 2:] + np.array(truth["camera_jitter_px"])[:, None]
    assert np.abs(uv - np.array(truth["joints2d"])).max() < 0.05
    assert np.allclose(camera["R"] @ camera["R"].T, np.eye(3), atol=1e-12)
    assert np.linalg.det(camera["R"]) == pytest.approx(1.0)


def test_left_hander_is_the_mirror_image():
    right, left = made(), made(left_handed=True)
    names = right["joint_names"]
    swap = [
        names.index(re.sub("^(left|right)", lambda m: "right" if m[0] == "left" else "left", n))
        for n in names
    ]
    mirrored = np.array(left["joints3d"])[:, swap] * [1.0, -1.0, 1.0]
    assert np.abs(mirrored - np.array(right["joints3d"])).max() < 1e-9
    assert left["serves"][0]["metrics"] == right["serves"][0]["metrics"]
    assert left["camera"]["view"] == right["camera"]["view"] == "front-quarter"


@pytest.mark.parametrize(
    ("azimuth", "label"),
    [
        (0, "front"),
        (15, "front-quarter"),
        (71.9, "front-quarter"),
        (72, "side"),
        (108, "side"),
        (109, "rear-quarter"),
        (165, "behind"),
        (180, "behind"),
        (270, "back-side"),
        (350, "front"),
    ],
)
def test_view_labels(azimuth, label):
    assert view_label(azimuth) == label


@pytest.mark.parametrize(
    ("kind", "serves", "others"), [("hold", 0, 1), ("throw", 0, 1), ("stand", 0, 0)]
)
def test_only_serves_count_as_serves(kind, serves, others):
    truth = made(kind=kind)
    assert (truth["n_serves"], len(truth["other_repetitions"])) == (serves, others)
    assert truth["is_serve"] is False
    assert truth["negative"] == (kind if kind == "stand" else None)


def test_every_measure_is_defined():
    written = made()["serves"][0]["measures"]
    plain = {"trunk_inclination", "elbow_flexion", "shoulder_elevation", "contact_height_ratio"}
    plain |= {"front_knee_flexion", "rear_knee_flexion", "shoulder_line_tilt", "tempo"}
    plain |= {"shoulder_turn", "knee_turn"}
    for key in written:
        assert f"measures.{key}" in FORMULAS or key in plain, key


def test_peaks_and_durations_agree_with_the_instants_they_pass():
    serve = made()["serves"][0]
    now, share = serve["measures"], serve["measures"]["rear_foot_load_share"]
    assert share["peak"] >= share["loading"] - 0.01  # sampled every 2 ms
    assert now["hip_shoulder_separation"]["peak"] >= now["hip_shoulder_separation"]["trophy"] - 0.1
    times = serve["event_times_s"]
    most = times["contact"] - now["most_loaded_before_contact"]["whole"]
    assert times["release"] - 0.001 <= most <= times["lowest_pelvis"] + 0.001
    assert 0 <= now["rear_load_time_60"]["whole"] <= times["lowest_pelvis"] + 0.2 - times["start"]
    steps = [now["sequence"][f"{part}_time_s"] for part in ("pelvis", "trunk", "upper_arm")]
    assert now["sequence"]["proximal_to_distal"] in (0.0, 1.0)
    assert not now["sequence"]["proximal_to_distal"] or steps == sorted(steps)
    hold = made(kind="hold")["other_repetitions"][0]
    length = hold["event_times_s"]["hold_end"] - hold["event_times_s"]["hold_start"]
    assert hold["measures"]["hold_duration"]["whole"] == pytest.approx(length, abs=1e-4)
    mean = hold["measures"]["hold_rear_foot_load_share"]["whole"]
    assert mean == pytest.approx(ServeKnobs().rear_share, abs=0.03)  # what it was made to hold
    assert hold["measures"]["hold_rear_load_time_60"]["whole"] == pytest.approx(0.0, abs=0.01)


def test_command_writes_resumes_and_repeats_exactly(tmp_path, capsys):
    arguments = ["motion", "--profile", "full", "--seed", "4", "--count", "2"]
    first, second = tmp_path / "a", tmp_path / "b"
    assert main([*arguments, "--out", str(first)]) == 0
    assert capsys.readouterr().out == ""
    kept = (first / "001.json").read_bytes()
    (first / "000.json").unlink()
    stamp = (first / "001.json").stat().st_mtime_ns
    assert main([*arguments, "--out", str(first)]) == 0
    assert main([*arguments, "--out", str(second)]) == 0
    assert (first / "001.json").stat().st_mtime_ns == stamp
    assert kept == (second / "001.json").read_bytes()
    assert (first / "000.json").read_bytes() == (second / "000.json").read_bytes()
    assert json.loads(kept)["profile"] == "full"


def test_committed_set_is_complete_and_small():
    found = list(clips())
    assert len(found) >= 10
    assert sum(p.stat().st_size for p in COMMITTED.iterdir()) < 15e6
    for _, truth in found:
        assert len(truth["joints2d"]) == truth["n_frames"]


def test_truth_needs_no_renderer_and_shares_no_code_with_the_engine():
    # run where nothing else has been imported
    code = (
        "import sys; import models.training.rendered.__main__;"
        "bad = [m for m in sys.modules if m.split('.')[0] in"
        " ('torch', 'anny', 'numba', 'workers', 'service')"
        " or m.startswith('models.') and not m.startswith('models.training')];"
        "sys.exit(' '.join(bad) or 0)"
    )
    root = Path(__file__).parents[4]
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=root, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
