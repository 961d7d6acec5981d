"""A drawn toss among other things: free fall is 9.81 m/s² (CODATA conventional value 9.80665)."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from models.contract.tracks import FloatArray
from workers.engine.ball import Things, Toss, find_toss
from workers.engine.contact_time import contact_time
from workers.engine.evidence import Evidence
from workers.engine.release_time import release_time
from workers.engine.struck import way_out
from workers.engine.turning import Told

STATURE, RELEASE, CONTACT = 1.8, 0.5, 1.5
FALL = 9.80665 / STATURE
UP = 2.55
"""Standing heights per second."""
OUT = np.array([9.0, -1.0])


def ball(t: FloatArray | float) -> FloatArray:
    """Place in standing heights about the shoulders: a toss, then straight away."""
    t = np.asarray(t, np.float64)
    flown = np.minimum(t, CONTACT) - RELEASE
    place = np.stack([0.2 + 0.05 * flown, 0.25 + UP * flown - 0.5 * FALL * flown**2], -1)
    return np.asarray(place + np.maximum(t - CONTACT, 0.0)[..., None] * OUT)


def things(
    fps: float, seed: int = 0, *, tossed: bool = True, struck: bool = True, clutter: int = 8
) -> Things:
    rng = np.random.default_rng(seed)
    looked = np.arange(0.2 + rng.uniform(0, 1 / fps), 1.9, 1 / fps)
    rows, xy = [], []
    for i, t in enumerate(looked):
        flying = RELEASE + 0.02 < t < CONTACT or (struck and CONTACT < t < CONTACT + 0.1)
        if tossed and flying and rng.random() < 0.95:
            rows.append(i)
            xy.append(ball(float(t)) + rng.normal(0, 0.002, 2))
        for _ in range(clutter):
            rows.append(i)
            xy.append(rng.normal([0.0, -0.1], [0.3, 0.4]))
    return Things(
        time_s=looked[rows],
        frame=np.array(rows),
        xy=np.array(xy),
        half=np.zeros((len(rows), 2)),
        score=rng.uniform(20.0, 60.0, len(rows)),
        looked_s=looked,
        px=400.0,
    )


@pytest.mark.parametrize("fps", [25.0, 60.0, 240.0])
def test_a_toss_is_found_and_falls_freely(fps: float) -> None:
    found = find_toss(things(fps), STATURE)
    assert found is not None
    assert found.fall * STATURE == pytest.approx(9.80665, rel=0.03)
    assert abs(found.seen_s[0] - RELEASE) < 0.02 + 3.0 / fps
    assert np.max(np.abs(found.at(found.seen_s) - ball(found.seen_s))) < 0.01


def test_arms_and_leaves_are_no_toss() -> None:
    found = [find_toss(things(60.0, seed, tossed=False), STATURE) for seed in range(4)]
    assert sum(toss is not None for toss in found) <= 1


def test_a_slow_clock_shows_in_the_fall() -> None:
    plain = things(60.0, clutter=2)
    slow = Things(
        **{
            name: getattr(plain, name) * (4.0 if name in ("time_s", "looked_s") else 1)
            for name in ("time_s", "frame", "xy", "half", "score", "looked_s", "px")
        }
    )
    found = find_toss(slow, STATURE, timed=False)
    assert found is not None
    assert np.sqrt(9.80665 / STATURE / found.fall) == pytest.approx(4.0, rel=0.1)
    assert find_toss(plain, STATURE, timed=False) is not None


def evidence(seen: Things, toss: Toss | None, heard: tuple[float, ...] = ()) -> Evidence:
    return Evidence(
        toss=toss,
        things=seen,
        top=2.0,
        heard_s=np.array(heard),
        heard_db=np.full(len(heard), 20.0),
        delay_s=8.0 / 343.0,
        delay_sd_s=0.01,
        step_s=float(np.median(np.diff(seen.looked_s))),
    )


@pytest.mark.parametrize("fps", [60.0, 120.0])
def test_contact_is_within_a_frame_whatever_the_wrist_says(fps: float) -> None:
    off = []
    for seed in range(2):
        seen = things(fps, seed)
        told = evidence(seen, find_toss(seen, STATURE))
        for wrist in (-0.05, 0.0, 0.04):
            found = contact_time(CONTACT + wrist, 1.0, 1.0 / fps, evidence=told)
            assert found.sources[0] == "ball"
            assert found.sd_s >= 1.0 / fps / np.sqrt(12.0) - 1e-12
            off.append(abs(found.time_s - CONTACT) * fps)
    assert np.mean(np.array(off) <= 1.0) >= 0.95


def test_the_way_out_meets_the_toss_at_contact() -> None:
    seen = things(120.0)
    toss = find_toss(seen, STATURE)
    assert toss is not None
    grid = np.arange(CONTACT - 0.1, CONTACT + 0.1, 1.0 / 960.0)
    out = way_out(toss, seen, grid)
    assert out is not None
    assert grid[np.argmax(out.likely)] == pytest.approx(CONTACT, abs=0.006)
    still = things(120.0, struck=False)
    none = way_out(toss, still, grid)
    # what else moves may look like a way out, but never before the toss was last seen
    assert none is None or grid[np.argmax(none.likely)] >= toss.seen_s[-2]


def test_a_sound_sharpens_the_wrist_and_another_court_does_not_mislead() -> None:
    seen = things(60.0, tossed=False)
    late = 8.0 / 343.0
    wrist = contact_time(CONTACT, 1.0, 1 / 60, evidence=evidence(seen, None))
    near = contact_time(
        CONTACT, 1.0, 1 / 60, evidence=evidence(seen, None, (CONTACT + 0.02 + late,))
    )
    assert "sound" in near.sources
    assert near.sd_s < wrist.sd_s
    assert near.time_s == pytest.approx(CONTACT + 0.02, abs=0.006)
    far = contact_time(
        CONTACT, 1.0, 1 / 60, evidence=evidence(seen, None, (CONTACT + 0.15 + late,))
    )
    assert far.time_s == pytest.approx(wrist.time_s, abs=0.012)
    assert "sound" not in far.sources


def test_an_arm_lets_no_ball_go_that_is_in_flight() -> None:
    """A film that starts after the release: the ball is far from the hand when it is first seen."""
    seen = things(60.0)
    toss = find_toss(seen, STATURE)
    assert toss is not None
    told = replace(evidence(seen, toss), from_hand=0.9)
    before, after = (Told(float(toss.seen_s[0]) + by, 0.035, "hand") for by in (-0.3, 0.3))
    assert release_time(told, before) == before
    assert release_time(told, after) is None
    near = release_time(replace(told, from_hand=0.1), after)
    assert near is not None
    assert near.source == "ball"
