"""Fusion on hand-made answers of two networks."""

from __future__ import annotations

import numpy as np
import pytest

from workers.pose.fuse import fuse, torso_length
from workers.pose.networks import COCO_TO_LANDMARK

WIDTH, HEIGHT = 640, 480
LEFT_WRIST, LEFT_INDEX, LEFT_ANKLE, LEFT_TOE = 15, 19, 27, 31


def answers(frames: int = 9) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Times and two networks that agree; torso length 100 px."""
    t = np.arange(frames) / 60
    blaze = np.zeros((frames, 33, 3))
    blaze[..., :2] = 300 + np.random.default_rng(0).uniform(-40, 40, (33, 2))
    blaze[:, [11, 12], :2] = [[290, 150], [310, 150]]
    blaze[:, [23, 24], :2] = [[290, 250], [310, 250]]
    blaze[..., 2] = 0.9
    second = np.full((frames, 33, 3), np.nan)
    second[:, list(COCO_TO_LANDMARK)] = blaze[:, list(COCO_TO_LANDMARK)]
    return t, blaze, second


def test_torso_length_is_a_median() -> None:
    _, blaze, _ = answers()
    blaze[0, [11, 12], 1] = -500
    blaze[1] = np.nan
    assert torso_length(blaze[..., :2]) == pytest.approx(100)


def test_agreeing_networks_keep_place_and_confidence() -> None:
    t, blaze, second = answers()
    fused = fuse(t, blaze, second, WIDTH, HEIGHT)
    np.testing.assert_allclose(fused.xy, blaze[..., :2])
    np.testing.assert_allclose(fused.confidence, 0.9)
    assert np.isnan(fused.disagreement_px[:, LEFT_TOE]).all()
    np.testing.assert_allclose(fused.disagreement_px[:, LEFT_ANKLE], 0)


def test_mean_is_weighted_by_confidence() -> None:
    t, blaze, second = answers()
    second[:, LEFT_WRIST, 0] += 8
    second[:, LEFT_WRIST, 2] = 0.3
    fused = fuse(t, blaze, second, WIDTH, HEIGHT)
    expected = blaze[0, LEFT_WRIST, 0] + 8 * 0.3 / 1.2
    assert fused.xy[0, LEFT_WRIST, 0] == pytest.approx(expected)
    np.testing.assert_allclose(fused.disagreement_px[:, LEFT_WRIST], 8)


def test_a_fifth_of_the_torso_apart_halves_the_confidence() -> None:
    t, blaze, second = answers()
    second[:, LEFT_ANKLE, 1] += 20
    fused = fuse(t, blaze, second, WIDTH, HEIGHT)
    np.testing.assert_allclose(fused.confidence[:, LEFT_ANKLE], 0.45)
    np.testing.assert_allclose(fused.confidence[:, LEFT_TOE], 0.45)


def test_hand_and_foot_move_with_wrist_and_ankle() -> None:
    t, blaze, second = answers()
    second[:, LEFT_WRIST, :2] += [6, 4]
    fused = fuse(t, blaze, second, WIDTH, HEIGHT)
    np.testing.assert_allclose(
        fused.xy[:, LEFT_INDEX] - fused.xy[:, LEFT_WRIST],
        blaze[:, LEFT_INDEX, :2] - blaze[:, LEFT_WRIST, :2],
    )


@pytest.mark.parametrize("wrong", [0, 1])
def test_neighbouring_frames_settle_a_conflict(wrong: int) -> None:
    """One network is a body height off for one frame, however sure it is."""
    t, blaze, second = answers()
    network = (blaze, second)[wrong]
    right = network[0, LEFT_WRIST, :2].copy()
    network[4, LEFT_WRIST, :2] += [120, -60]
    network[4, LEFT_WRIST, 2] = 1.0
    fused = fuse(t, blaze, second, WIDTH, HEIGHT)
    np.testing.assert_allclose(fused.xy[4, LEFT_WRIST], right, atol=0.1)
    assert fused.confidence[4, LEFT_WRIST] < 0.05


def test_lasting_conflict_favours_the_second_network() -> None:
    t, blaze, second = answers(40)
    blaze[5:35, LEFT_WRIST, :2] += [120, -60]
    fused = fuse(t, blaze, second, WIDTH, HEIGHT)
    off = np.linalg.norm(fused.xy[20, LEFT_WRIST] - second[20, LEFT_WRIST, :2])
    assert off == pytest.approx(np.hypot(120, 60) / 11, rel=0.01)


def test_outside_the_picture_only_blazepose_speaks_and_nothing_was_seen() -> None:
    t, blaze, second = answers()
    blaze[:, LEFT_ANKLE, 1] = HEIGHT + 30
    second[:, LEFT_ANKLE, 1] = HEIGHT - 5
    fused = fuse(t, blaze, second, WIDTH, HEIGHT)
    np.testing.assert_allclose(fused.xy[:, LEFT_ANKLE, 1], HEIGHT + 30)
    assert (fused.confidence[:, LEFT_ANKLE] == 0).all()
    assert np.isnan(fused.disagreement_px[:, LEFT_ANKLE]).all()


def test_frame_without_a_person() -> None:
    t, blaze, second = answers()
    blaze[3], second[3] = np.nan, np.nan
    fused = fuse(t, blaze, second, WIDTH, HEIGHT)
    assert np.isnan(fused.xy[3]).all()
    assert (fused.confidence[3] == 0).all()
    assert np.isfinite(fused.xy[[2, 4]]).all()


def test_one_network_alone() -> None:
    t, blaze, _ = answers()
    fused = fuse(t, blaze, None, WIDTH, HEIGHT)
    np.testing.assert_allclose(fused.xy, blaze[..., :2])
    assert np.isnan(fused.disagreement_px).all()
