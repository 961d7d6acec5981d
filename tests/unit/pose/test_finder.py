"""Finding people in a whole frame."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from workers.pose.choice import Networks
from workers.pose.finder import LONG_SIDES, Person, drop_duplicates, find_people, overlap


def box_person(box: list[float], score: float) -> Person:
    return Person(np.array(box, dtype=float), score, np.zeros((17, 3)))


def test_overlap_by_hand() -> None:
    a = np.array([0.0, 0.0, 10.0, 10.0])
    assert overlap(a, a) == 1
    assert overlap(a, np.array([5.0, 0.0, 15.0, 10.0])) == pytest.approx(50 / 150)
    assert overlap(a, np.array([10.0, 0.0, 20.0, 10.0])) == 0
    assert overlap(a, np.array([30.0, 30.0, 40.0, 40.0])) == 0


def test_better_of_two_finds_of_one_person_is_kept() -> None:
    people = [
        box_person([0, 0, 10, 20], 0.4),
        box_person([1, 0, 11, 20], 0.7),
        box_person([40, 0, 50, 20], 0.3),
    ]
    assert [p.score for p in drop_duplicates(people)] == [0.7, 0.3]


@pytest.mark.parametrize("shape", [(720, 1280), (1280, 720), (480, 640)])
def test_joints_of_one_person_in_any_frame_shape(
    networks: Networks, crop_picture: np.ndarray, truth: dict[str, Any], shape: tuple[int, int]
) -> None:
    frame = np.full((*shape, 3), 110, dtype=np.uint8)
    top, left = shape[0] - 300, shape[1] // 2
    frame[top : top + 256, left : left + 256] = crop_picture
    people = find_people(networks.finder, frame)
    assert len(people) == 1
    exact = np.array(truth["serve_crop.png"]["coco17"]) + np.array([left, top])
    torso = np.hypot(*(exact[5:7].mean(0) - exact[11:13].mean(0)))
    off = np.hypot(*(people[0].keypoints[:, :2] - exact)[5:].T)
    assert np.median(off) < 0.25 * torso
    u0, v0, u1, v1 = people[0].box
    assert u0 < exact[:, 0].min() + 0.3 * torso
    assert u1 > exact[:, 0].max() - 0.3 * torso
    assert v0 < exact[:, 1].min() + 0.3 * torso
    assert v1 > exact[:, 1].max() - 0.3 * torso


def test_two_people(networks: Networks, crop_picture: np.ndarray) -> None:
    frame = np.full((400, 900, 3), 110, dtype=np.uint8)
    frame[100:356, 80:336] = crop_picture
    frame[100:356, 560:816] = crop_picture[:, ::-1]
    people = find_people(networks.finder, frame)
    assert sorted(round(p.hips[:, 0].mean() / 100) for p in people) == [2, 7]


def test_nobody_after_both_sizes() -> None:
    sizes = []

    def blind(image: np.ndarray) -> dict[str, np.ndarray]:
        assert image.shape[1] % 32 == 0
        assert image.shape[2] % 32 == 0
        sizes.append(max(image.shape))
        return {"people": np.zeros((1, 6, 56), dtype=np.float32)}

    assert find_people(blind, np.zeros((720, 1280, 3), dtype=np.uint8)) == []
    assert sizes == list(LONG_SIDES)
