"""What the lift reads: an even clock, whatever the film's, and nothing made up."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as hs

from models.training.rendered.bodies import part_of_track, simulated_track
from workers.engine.lift_input import RATE_HZ, even_times, read, resample, seen_in, told_columns


@given(hs.floats(24.0, 240.0), hs.integers(20, 80))
def test_a_straight_path_stays_straight_at_any_rate(fps: float, frames: int) -> None:
    time = np.arange(frames) / fps
    when = even_times(time)
    path = np.stack([2.0 + 3.0 * time, -time], axis=1)
    inner = (when > when[0] + 1.0 / RATE_HZ) & (when < time[-1] - 1.0 / RATE_HZ)
    found = resample(time, path, when)[inner]
    true = np.stack([2.0 + 3.0 * when, -when], axis=1)[inner]
    assert found == pytest.approx(true, abs=2.0 / fps)


def test_frames_of_a_faster_film_are_averaged() -> None:
    rng = np.random.default_rng(2)
    slow, fast = (np.arange(0.0, 8.0, 1.0 / fps) for fps in (60.0, 240.0))
    when = even_times(slow)
    scatter = [resample(t, rng.normal(size=(len(t), 40)), when).std() for t in (slow, fast)]
    # a triangle over two steps of four frames each: sum of squared weights 0.17
    assert scatter[0] == pytest.approx(1.0, abs=0.05)
    assert scatter[1] == pytest.approx(0.41, abs=0.04)


def test_films_with_frames_left_out_are_read_without_steps() -> None:
    """120 frames a second about the hit, 30 elsewhere."""
    time = np.concatenate([np.arange(0, 1, 1 / 30), np.arange(1, 1.5, 1 / 120), [1.53, 1.56]])
    found = resample(time, np.sin(3.0 * time)[:, None], when := even_times(time))[:, 0]
    assert found == pytest.approx(np.sin(3.0 * when), abs=0.02)
    assert np.abs(np.diff(found, 2)).max() < 0.02  # nearest frames would step by 0.1


def test_a_gap_has_no_confidence() -> None:
    track = simulated_track("000")
    rows = np.arange(len(track))
    gap = (track.time_s > 1.0) & (track.time_s < 1.6)
    seen = seen_in(part_of_track(track, ~gap), np.arange(int((~gap).sum())), False)
    whole = seen_in(track, rows, False)
    one, two = read(seen), read(whole)
    assert one is not None
    assert two is not None
    inside = (one.when > 1.25) & (one.when < 1.35)
    columns = slice(2 * 21 + 2 * 17, 3 * 21 + 2 * 17)
    assert one.features[inside, columns].max() == 0.0
    assert two.features[:, columns].min() > 0.9


def test_a_direction_counts_by_how_surely_it_is_known() -> None:
    sure, unsure = (told_columns((0.5, np.radians(sd))) for sd in (1.0, 20.0))
    assert np.arctan2(sure[0], sure[1]) == pytest.approx(0.5)
    assert np.arctan2(unsure[0], unsure[1]) == pytest.approx(0.5)
    assert sure[2] > 0.9
    assert unsure[2] < 0.2
    assert not told_columns(None).any()
