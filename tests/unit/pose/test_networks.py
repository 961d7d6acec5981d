"""The real networks on a rendered picture whose joints are known exactly."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from workers.pose.choice import Networks
from workers.pose.crop import SquareCrop
from workers.pose.networks import (
    COCO_TO_LANDMARK,
    SIDE,
    blazepose,
    movenet,
    turn_world,
)

LIMBS = slice(5, 17)


@pytest.fixture(scope="module")
def exact(truth: dict[str, Any]) -> np.ndarray:
    return np.array(truth["serve_crop.png"]["coco17"])


def torso_of(coco: np.ndarray) -> float:
    return float(np.hypot(*(coco[5:7].mean(0) - coco[11:13].mean(0))))


@pytest.mark.parametrize("angle", [0.0, 0.3, -0.3])
def test_blazepose_finds_the_joints_in_a_turned_crop(
    networks: Networks, crop_picture: np.ndarray, exact: np.ndarray, angle: float
) -> None:
    hips = exact[11:13].mean(0)
    crop = SquareCrop(float(hips[0]), float(hips[1]), 230.0, angle)
    answer = blazepose(networks.blazepose, crop.cut(crop_picture, SIDE))
    found = crop.to_picture(answer.xy, SIDE)[list(COCO_TO_LANDMARK)]
    error = np.hypot(*(found - exact)[LIMBS].T) / torso_of(exact)
    assert answer.score > 0.9
    assert error.mean() < 0.10
    assert error.max() < 0.25


def test_movenet_finds_the_joints(
    networks: Networks, crop_picture: np.ndarray, exact: np.ndarray
) -> None:
    assert networks.movenet is not None
    points = movenet(networks.movenet, crop_picture)
    error = np.hypot(*(points[:, :2] - exact)[LIMBS].T) / torso_of(exact)
    assert error.mean() < 0.10
    assert error.max() < 0.25


def test_circle_holds_the_body(
    networks: Networks, crop_picture: np.ndarray, exact: np.ndarray
) -> None:
    answer = blazepose(networks.blazepose, crop_picture)
    centre, rim = answer.circle
    hips = exact[11:13].mean(0)
    radius = np.hypot(*(rim - centre))
    reach = np.linalg.norm(exact - hips, axis=1).max()
    assert np.hypot(*(centre - hips)) < 0.15 * radius
    assert 0.8 < radius / reach < 1.2


def test_nobody_in_the_crop(networks: Networks) -> None:
    noise = np.random.default_rng(0).integers(0, 60, (SIDE, SIDE, 3), dtype=np.uint8)
    assert blazepose(networks.blazepose, noise).score < 0.5


def test_world_turns_back_with_the_crop() -> None:
    """A body upright in a crop turned 90 degrees clockwise lies along the picture's u axis."""
    up_in_crop = np.array([[0.0, -1.0, 0.2]])
    np.testing.assert_allclose(turn_world(up_in_crop, np.pi / 2), [[1.0, 0.0, 0.2]], atol=1e-12)


def test_world_is_the_same_from_a_turned_crop(
    networks: Networks, crop_picture: np.ndarray, exact: np.ndarray
) -> None:
    hips = exact[11:13].mean(0)
    worlds = []
    for angle in (-0.15, 0.15):
        crop = SquareCrop(float(hips[0]), float(hips[1]), 230.0, angle)
        answer = blazepose(networks.blazepose, crop.cut(crop_picture, SIDE))
        worlds.append(turn_world(answer.world, angle))
    gap = np.linalg.norm(worlds[0][11:33] - worlds[1][11:33], axis=1)
    assert gap.mean() < 0.08
