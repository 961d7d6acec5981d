"""What is worth a close look: every serve whole, and little else."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from models.contract.tracks import JointTrack
from models.training.rendered.bodies import part_of_track, simulated_track, track_of, truth
from models.training.rendered.clips import sampled_body
from models.training.rendered.pairs import document
from models.training.rendered.profiles import draw_clip
from workers.engine.detect import AFTER_S
from workers.engine.windows import where_fast, worth_a_look
from workers.pose.budget import Budget

COARSE_S = 0.08
NEED_BEFORE_S = 0.4
"""What the engine takes before the stance ends."""


def coarse(track: JointTrack) -> JointTrack:
    """Return about twelve rows a second of a track."""
    kept = [0]
    for row in range(1, len(track)):
        if track.time_s[row] - track.time_s[kept[-1]] >= COARSE_S - 1e-9:
            kept.append(row)
    return part_of_track(track, np.array(kept))


def uncovered(track: JointTrack, serves: list[dict]) -> list[tuple[float, float]]:
    """Return the serves that no stretch holds whole."""
    stretches = worth_a_look(coarse(track))
    end = float(track.time_s[-1])
    wanted = [
        (max(0.0, at["start"] - NEED_BEFORE_S), min(end, at["contact"] + AFTER_S))
        for at in (serve["event_times_s"] for serve in serves)
    ]
    return [
        (start, stop)
        for start, stop in wanted
        if not any(a <= start + 1e-6 and b >= stop - 1e-6 for a, b in stretches)
    ]


@pytest.mark.parametrize("clip", ["000", "002", "003", "004", "006", "007", "014", "019"])
def test_every_serve_of_a_film_is_held_whole(clip: str) -> None:
    assert not uncovered(simulated_track(clip, noise=0.04), truth(clip)["serves"])


@pytest.mark.parametrize("index", range(6))
def test_serves_of_other_players_are_held_whole(index: int) -> None:
    """Motions that nothing was tuned on; noise of the cheapest network."""
    spec, rng = draw_clip("motion", 8118, index)
    told = document(replace(spec, count=1), sampled_body(rng))
    assert not uncovered(track_of(told, noise=0.04, seed=index), told["serves"])


def test_three_serves_are_three_stretches_and_not_the_whole_film() -> None:
    stretches = worth_a_look(coarse(simulated_track("007")))
    assert len(stretches) == 3
    assert sum(stop - start for start, stop in stretches) < 0.9 * truth("007")["n_frames"] / 30


@pytest.mark.parametrize("clip", ["009", "018"])
def test_nothing_is_worth_a_look_where_no_hand_is_raised(clip: str) -> None:
    assert worth_a_look(coarse(simulated_track(clip))) == ()


def test_the_whole_clip_is_looked_at_where_too_little_is_seen_to_tell() -> None:
    short = part_of_track(simulated_track("000"), slice(0, 6))
    assert worth_a_look(short) == ((short.time_s[0], short.time_s[-1]),)
    assert worth_a_look(part_of_track(short, slice(0, 0))) == ()


@pytest.mark.parametrize("clip", ["000", "002", "003", "004", "006", "007", "014", "019"])
def test_no_frame_of_an_event_of_the_swing_is_thinned_away(clip: str) -> None:
    """From 0.8 s before the hit to 0.1 s after it, at up to 60 frames a second."""
    track = simulated_track(clip, noise=0.04)
    fast = where_fast(coarse(track))
    budget = Budget(fast)
    seen = np.array([budget.looks(float(time_s)) for time_s in track.time_s])
    step = max(float(np.median(np.diff(track.time_s))), 1 / 60)
    for serve in truth(clip)["serves"]:
        at = serve["event_times_s"]
        assert any(start - 0.2 <= at["contact"] <= stop + 0.2 for start, stop in fast)
        for event, time_s in at.items():
            if not at["contact"] - 0.8 <= time_s <= at["contact"] + 0.1:
                continue
            gap = np.abs(track.time_s[seen] - time_s).min()
            assert gap <= step / 2 + 1e-6, event


@pytest.mark.parametrize("index", range(6))
def test_hits_of_other_players_are_where_the_body_is_fast(index: int) -> None:
    spec, rng = draw_clip("motion", 8118, index)
    told = document(replace(spec, count=1), sampled_body(rng))
    fast = where_fast(coarse(track_of(told, noise=0.04, seed=index)))
    for serve in told["serves"]:
        contact = serve["event_times_s"]["contact"]
        assert any(start - 0.2 <= contact <= stop + 0.2 for start, stop in fast)


def test_work_without_a_swing_is_not_thinned() -> None:
    track = simulated_track("010")  # a hold
    stretches = worth_a_look(coarse(track))
    assert stretches
    assert where_fast(coarse(track)) == stretches
