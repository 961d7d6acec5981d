"""Free fall: 9.81 m/s² whatever flies, and a clock that runs slow."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from models.contract.skeleton import CANONICAL_BODY
from models.contract.vocabulary import Sex
from models.training.rendered.bodies import true_motion, truth
from workers.engine.engine import analyse_motion
from workers.engine.freefall import body_fall, clock_doubtful, fit_fall, flight
from workers.engine.interface import EngineRequest


def test_tossed_balls_of_rendered_clips_fall_at_g() -> None:
    for clip in ("000", "003", "006"):
        document = truth(clip)
        rows = [i for i, ball in enumerate(document["ball"]) if ball and ball["state"] == "toss"]
        heights = np.array([document["ball"][i]["xyz"][2] for i in rows])
        fall = fit_fall(np.array(rows) / document["fps"], -heights)
        assert fall.acceleration == pytest.approx(9.81, rel=0.02)


def test_stated_uncertainty_is_that_of_the_noise() -> None:
    # SD(c2) = p sqrt(180 / (N (N²-1)(N²-4))) / dt², arithmetic of the least-squares parabola
    rng = np.random.default_rng(1)
    time = np.arange(25) / 60
    truth_px = 0.5 * 2452.5 * (time - 0.2) ** 2
    found = [fit_fall(time, truth_px + rng.normal(0, 1, 25)).acceleration for _ in range(400)]
    n = 25
    expected = 2 * np.sqrt(180 / (n * (n**2 - 1) * (n**2 - 4))) * 60**2
    assert expected == pytest.approx(31.0, abs=0.05)
    assert np.std(found) == pytest.approx(expected, rel=0.12)


def test_three_samples_are_needed() -> None:
    with pytest.raises(ValueError, match="three"):
        fit_fall(np.array([0.0, 0.1]), np.array([1.0, 2.0]))


def jump(slow: float) -> object:
    """The true motion of a serve with a long jump, played `slow` times slower."""
    motion = true_motion("000")
    low = truth("000")["serves"][0]["event_frames"]["contact"]
    time = motion.time_s - motion.time_s[low]
    lift = np.clip(0.12 - 0.5 * 9.81 * time**2, 0.0, None)
    joints = motion.joints.copy()
    joints[..., 2] += lift[:, None]
    return replace(motion, joints=joints, time_s=slow * motion.time_s)


def test_a_slow_motion_file_is_found_out() -> None:
    slow = jump(4.0)
    result = analyse_motion(slow, EngineRequest())
    assert "frame_rate_doubtful" in {p.code for p in result.problems}
    tempo = next(m for m in result.repetitions[0].metrics if m.key == "tempo")
    assert not tempo.measurable
    assert "free fall" in str(tempo.reason)


def test_a_stated_capture_rate_is_believed() -> None:
    result = analyse_motion(jump(4.0), EngineRequest(capture_fps=240.0))
    assert "frame_rate_doubtful" not in {p.code for p in result.problems}


@pytest.mark.parametrize("clip", ["000", "002", "003", "004"])
def test_true_clocks_are_not_doubted(clip: str) -> None:
    motion = true_motion(clip)
    floor = float(np.min(motion.joints[..., 2])) - 0.02
    assert not clock_doubtful(body_fall(motion, floor, Sex.UNKNOWN))


def test_flight_is_the_stretch_off_the_floor() -> None:
    motion = true_motion("000")
    joints = motion.joints.copy()
    joints[50:90, :, 2] += 0.2
    lifted = replace(
        motion,
        joints=joints[:100],
        time_s=motion.time_s[:100],
        frame_index=motion.frame_index[:100],
        sd=motion.sd[:100],
    )
    floor = float(np.min(motion.joints[:40, CANONICAL_BODY.index("front_toe"), 2]))
    assert flight(lifted, floor) == (50, 90)
