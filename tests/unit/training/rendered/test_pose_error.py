from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
import pytest

from models.training.rendered.dataset import COMMITTED, load_truth
from models.training.rendered.pose_error import COMPARED, errors_by_joint, torso_pixels


def test_a_perfect_estimate_has_no_error_and_a_shift_shows_in_torso_lengths():
    truth = load_truth(COMMITTED / "000.mp4")
    names, xy = truth["joint_names"], np.array(truth["joints2d"])
    assert max(e.max() for e in errors_by_joint(truth, names, xy).values()) == 0.0
    torso = torso_pixels(truth)
    x = np.array(truth["joints3d"])
    middle = [
        0.5 * (x[:, names.index(f"left_{n}")] + x[:, names.index(f"right_{n}")])
        for n in ("shoulder", "hip")
    ]
    metres = np.median(np.linalg.norm(middle[0] - middle[1], axis=1))
    focal, camera = truth["camera"]["K"][0][0], np.array(truth["camera"]["position"])
    distance = np.median(np.linalg.norm(middle[1] - camera, axis=1))
    assert torso == pytest.approx(focal * metres / distance, rel=0.1)
    shift = np.array([0.1 * torso, 0.0])
    moved = errors_by_joint(truth, names, xy + shift)
    assert set(moved) == set(COMPARED)
    assert np.concatenate(list(moved.values())) == pytest.approx(0.1, abs=1e-9)


def test_frames_must_match():
    truth = load_truth(COMMITTED / "009")
    with pytest.raises(ValueError, match="frames"):
        errors_by_joint(truth, truth["joint_names"], np.zeros((3, 23, 2)))


def test_the_pose_networks_lock_on_to_a_rendered_body(tmp_path, capsys):
    """Acceptance: at most 8 % of torso length, median over joints and frames, from the side."""
    import av

    from models.training.rendered.__main__ import main
    from workers.pose.choice import open_networks
    from workers.pose.estimate import estimate

    @dataclass(frozen=True)
    class Shown:
        index: int
        time_s: float
        rgb: np.ndarray

    def frames(_stretches=None):
        with av.open(str(COMMITTED / "016.mp4")) as container:
            for i, frame in enumerate(container.decode(video=0)):
                yield Shown(i, float(frame.time), frame.to_ndarray(format="rgb24"))

    found = estimate(frames, open_networks())
    (tmp_path / "016.npz").write_bytes(found.track.to_npz())
    assert main(["errors", "--films", str(COMMITTED), "--tracks", str(tmp_path)]) == 0
    line = capsys.readouterr().out.splitlines()[-1]
    median, _, unseen = (float(x) for x in re.findall(r"([\d.]+) %", line))
    assert median <= 8.0
    assert unseen < 5.0
