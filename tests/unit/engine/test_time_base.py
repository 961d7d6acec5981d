"""Repeated and missing pictures: what a film's rate is worth."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from models.contract.sightings import Sightings
from models.contract.tracks import JointTrack
from tests.unit.pipeline.fakes import track
from workers.engine.time_base import time_base


def film(frames: int, fps: float, change: np.ndarray) -> JointTrack:
    seen = Sightings(
        looked=np.arange(frames), looked_s=np.arange(frames) / fps, change=np.asarray(change)
    )
    return replace(track(frames), time_s=np.arange(frames) / fps, sightings=seen)


@pytest.mark.parametrize(("stored", "every"), [(50.0, 2), (60.0, 3), (30.0, 2)])
def test_pictures_stored_twice_are_counted_once(stored: float, every: int) -> None:
    rng = np.random.default_rng(0)
    change = np.where(np.arange(120) % every == 0, rng.uniform(2.0, 4.0, 120), 0.05)
    base = time_base(film(120, stored, change))
    assert base.fps == pytest.approx(stored / every, rel=0.03)
    assert base.stored_fps == pytest.approx(stored)
    assert len(base.track) == pytest.approx(120 / every, abs=2)
    assert set(np.diff(base.track.frame_index)) == {every}


def test_standing_still_is_no_repetition() -> None:
    change = np.concatenate([np.full(60, 0.02), np.random.default_rng(1).uniform(1.0, 3.0, 60)])
    base = time_base(film(120, 60.0, change))
    assert base.repeated == 0.0
    assert base.fps == pytest.approx(60.0)
    assert len(base.track) == 120


def test_a_few_repeats_are_no_other_rate() -> None:
    change = np.random.default_rng(2).uniform(2.0, 3.0, 100)
    change[::20] = 0.01
    assert time_base(film(100, 30.0, change)).repeated == 0.0


def test_gaps_in_the_times_are_told() -> None:
    plain = film(100, 60.0, np.full(100, 2.0))
    steps = np.where(np.arange(99) % 10 == 0, 2.0, 1.0) / 60.0
    gaps = replace(plain, time_s=np.concatenate([[0.0], np.cumsum(steps)]))
    assert time_base(gaps).dropped == pytest.approx(0.1, abs=0.02)
    assert time_base(plain).dropped == 0.0


def test_joints_from_elsewhere_are_taken_at_their_word() -> None:
    assert time_base(track(20)).fps == pytest.approx(60.0)
