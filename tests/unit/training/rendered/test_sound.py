"""Synthesised tracks hold what their truth says, when it says so."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np

from models.training.rendered.dataset import COMMITTED, load_truth
from models.training.rendered.sound import RATE, SPEED_M_S, add, track
from workers.video.clip import open_clip
from workers.video.sound import onsets


def test_the_struck_ball_is_heard_as_late_as_the_camera_is_far() -> None:
    truth = load_truth(COMMITTED / "000.mp4")
    for seed in range(4):
        samples, content = track(truth, seed)
        place = np.array(truth["camera"]["position"])
        contact = truth["serves"][0]["event_times_s"]["contact"]
        late = content["struck_s"][0] - contact
        body = np.mean(truth["joints3d"], axis=(0, 1)) + np.array([0.0, 0.0, 1.6])
        assert abs(late - np.linalg.norm(body - place) / SPEED_M_S) < 1e-3
        heard = np.array([time for time, _ in onsets(samples.astype(np.float32), RATE)])
        assert np.min(np.abs(heard - content["struck_s"][0])) < 0.003


def test_steps_wind_and_voices_are_not_told_as_struck_balls() -> None:
    truth = load_truth(COMMITTED / "009.mp4")
    wrong = total = 0
    for seed in range(6):
        samples, content = track(truth, seed)
        assert content["struck_s"] == []
        for time, _ in onsets(samples.astype(np.float32), RATE):
            total += 1
            wrong += min((abs(time - o) for o in content["other_courts_s"]), default=1.0) > 0.01
    assert wrong <= 1


def test_pictures_stay_as_they_are(tmp_path: Path) -> None:
    film = tmp_path / "017.mp4"
    shutil.copy(COMMITTED / "017.mp4", film)
    with open_clip(film) as clip:
        before = [(f.time_s, int(f.rgb.sum(dtype=np.int64))) for f in clip]
        assert clip.heard is None
    truth = load_truth(COMMITTED / "017.mp4")
    samples, content = track(truth, 1)
    add(film, samples)
    with open_clip(film) as clip:
        after = [(f.time_s, int(f.rgb.sum(dtype=np.int64))) for f in clip]
        heard = clip.heard
    assert after == before
    assert heard is not None
    for known in content["other_courts_s"]:
        if heard and min(abs(t - known) for t, _ in heard) < 0.02:
            assert min(abs(t - known) for t, _ in heard) < 0.005
