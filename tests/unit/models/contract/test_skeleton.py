"""The skeletons: who is whose mirror image, and what joints are called on the two bodies."""

from __future__ import annotations

import numpy as np
import pytest

from models.contract.skeleton import (
    ANATOMICAL_BODY,
    CANONICAL_BODY,
    LANDMARKS,
    PICTURE_ROWS,
    canonical,
    counterpart,
    part_of,
    partner,
    side_of,
)


def test_the_landmarks_are_those_of_the_network_in_its_order() -> None:
    # order of the published model card of the 33-landmark pose network (from memory)
    assert len(LANDMARKS) == 33
    assert LANDMARKS.rows(("nose", "mouth_left", "left_shoulder")) == [0, 9, 11]
    assert LANDMARKS.rows(("right_hip", "right_foot_index")) == [24, 32]


@pytest.mark.parametrize("skeleton", [LANDMARKS, ANATOMICAL_BODY, CANONICAL_BODY])
def test_every_joint_but_the_nose_has_another_as_its_mirror_image(skeleton) -> None:
    for row, image in enumerate(skeleton.swap):
        assert skeleton.swap[image] == row
        assert (image == row) == (skeleton.names[row] == "nose")
    assert len(set(skeleton.names)) == len(skeleton)


@pytest.mark.parametrize("skeleton", [LANDMARKS, ANATOMICAL_BODY, CANONICAL_BODY])
def test_a_pair_is_named_left_tossing_or_front_first(skeleton) -> None:
    for part in {part_of(name) for name in skeleton} - {"nose"}:
        first, second = skeleton.both(part)
        assert side_of(first) in ("left", "tossing", "front")
        assert partner(first) == second
    with pytest.raises(KeyError):
        skeleton.both("nose")


def test_arms_hit_and_toss_and_legs_stand_front_and_rear() -> None:
    for part in ("eye", "ear", "shoulder", "elbow", "wrist"):
        assert CANONICAL_BODY.both(part) == (f"tossing_{part}", f"hitting_{part}")
    for part in ("hip", "knee", "ankle", "heel", "toe"):
        assert CANONICAL_BODY.both(part) == (f"front_{part}", f"rear_{part}")


def test_a_right_hander_hits_with_the_right_and_a_left_hander_with_the_left() -> None:
    # common practice, no source: the rear foot is on the hitting side
    assert counterpart("hitting_wrist", left_handed=False) == "right_wrist"
    assert counterpart("hitting_wrist", left_handed=True) == "left_wrist"
    assert counterpart("left_knee", left_handed=False) == "front_knee"
    assert counterpart("left_knee", left_handed=True) == "rear_knee"
    assert counterpart("nose", left_handed=True) == "nose"
    for name in CANONICAL_BODY:
        for left in (False, True):
            assert counterpart(counterpart(name, left_handed=left), left_handed=left) == name
    with pytest.raises(KeyError):
        counterpart("left_thumb", left_handed=False)


def test_names_and_arrays_are_converted_alike() -> None:
    points = np.random.default_rng(0).normal(size=(4, 21, 3))
    for left in (False, True):
        found = canonical(points, left_handed=left, axis=1)
        for name in CANONICAL_BODY:
            own = ANATOMICAL_BODY.at(points, counterpart(name, left_handed=left))
            flip = np.array([1.0, -1.0 if left else 1.0, 1.0])
            np.testing.assert_array_equal(CANONICAL_BODY.at(found, name), own * flip)
        np.testing.assert_array_equal(canonical(found, left_handed=left, axis=1), points)


def test_the_joints_of_a_body_are_found_among_the_landmarks() -> None:
    for row, name in zip(PICTURE_ROWS, ANATOMICAL_BODY, strict=True):
        assert LANDMARKS.names[row] == name.replace("toe", "foot_index")
        assert LANDMARKS.full_name(name) == LANDMARKS.names[row]


def test_the_middle_lies_between_the_two() -> None:
    points = np.random.default_rng(1).normal(size=(5, 21, 2))
    middle = CANONICAL_BODY.middle(points, "hip")
    np.testing.assert_allclose(middle, points[:, [11, 12]].mean(axis=1))
