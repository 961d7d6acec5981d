"""Crops: exact inverse, pixel convention, direction of the turn."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.unit.pose.crops import to_crop
from workers.pose.crop import MOST_AHEAD, MOST_GROWTH, SquareCrop, ahead, around_body, around_circle

crops = st.builds(
    SquareCrop,
    u=st.floats(-500, 2500),
    v=st.floats(-500, 2500),
    side=st.floats(8, 3000),
    angle=st.floats(-7, 7),
)
points = st.lists(
    st.tuples(st.floats(-2000, 4000), st.floats(-2000, 4000)), min_size=1, max_size=5
).map(lambda rows: np.array(rows, dtype=float))


@given(crops, points, st.integers(16, 512))
def test_to_picture_undoes_to_crop(crop: SquareCrop, xy: np.ndarray, n: int) -> None:
    np.testing.assert_allclose(crop.to_picture(to_crop(crop, xy, n), n), xy, atol=1e-6)


@given(crops, st.integers(16, 512))
def test_inverse_equals_that_of_opencv(crop: SquareCrop, n: int) -> None:
    """Reference: cv2.invertAffineTransform."""
    inverse = cv2.invertAffineTransform(crop.matrix(n))
    xy = np.array([[0.0, 0.0], [n, 0.0], [0.0, n], [n / 3, n / 5]])
    expected = xy @ inverse[:, :2].T + inverse[:, 2]
    np.testing.assert_allclose(crop.to_picture(xy, n), expected, atol=1e-6)


@given(crops, points, points, st.integers(16, 512))
def test_a_crop_is_a_similarity(crop: SquareCrop, p: np.ndarray, q: np.ndarray, n: int) -> None:
    before = np.linalg.norm(p[0] - q[0])
    after = np.linalg.norm(to_crop(crop, p[:1], n) - to_crop(crop, q[:1], n))
    assert after == pytest.approx(before * n / crop.side, abs=1e-6)


def test_centre_and_upward_axis() -> None:
    crop = SquareCrop(u=300.0, v=200.0, side=100.0, angle=np.radians(30))
    assert to_crop(crop, np.array([300.0, 200.0]), 256) == pytest.approx([128, 128])
    # 30 degrees clockwise from up, in the picture, is to the right and up.
    up = np.array([300 + 50 * np.sin(np.radians(30)), 200 - 50 * np.cos(np.radians(30))])
    assert to_crop(crop, up, 256) == pytest.approx([128, 0], abs=1e-9)


def test_whole_picture_as_a_crop_is_the_picture() -> None:
    """Fails if pixel centres are shifted by half a pixel on either side."""
    picture = np.random.default_rng(1).integers(0, 256, (64, 64, 3), dtype=np.uint8)
    np.testing.assert_array_equal(SquareCrop(32.0, 32.0, 64.0).cut(picture, 64), picture)


def test_quarter_turn_equals_numpy_rot90() -> None:
    """A crop turned clockwise shows the picture turned counter-clockwise."""
    picture = np.random.default_rng(2).integers(0, 256, (64, 64, 3), dtype=np.uint8)
    cut = SquareCrop(32.0, 32.0, 64.0, np.pi / 2).cut(picture, 64)
    np.testing.assert_array_equal(cut, np.rot90(picture))


def test_pixels_follow_the_points() -> None:
    picture = np.zeros((400, 600, 3), dtype=np.uint8)
    spot = np.array([350.5, 120.5])
    cv2.circle(picture, (350, 120), 6, (255, 255, 255), -1)
    crop = SquareCrop(320.0, 150.0, 180.0, 0.7)
    cut = crop.cut(picture, 256)[..., 0].astype(float)
    rows, columns = np.mgrid[:256, :256] + 0.5
    centre = np.array([(cut * columns).sum(), (cut * rows).sum()]) / cut.sum()
    assert centre == pytest.approx(to_crop(crop, spot, 256), abs=0.1)


def test_outside_the_picture_is_black() -> None:
    picture = np.full((32, 32, 3), 200, dtype=np.uint8)
    cut = SquareCrop(0.0, 0.0, 32.0).cut(picture, 32)
    assert (cut[:15, :15] == 0).all()
    assert (cut[17:, 17:] == 200).all()


@pytest.mark.parametrize("side", [600.0, 1100.0, 1900.0])
@pytest.mark.parametrize("angle", [0.0, 0.7, -2.0])
@pytest.mark.parametrize("centre", [(1500.0, 1100.0), (600.0, 1700.0)])
def test_points_stay_in_place_when_a_fine_picture_is_averaged_down(
    side: float, angle: float, centre: tuple[float, float]
) -> None:
    picture = np.zeros((2160, 3840, 3), dtype=np.uint8)
    crop = SquareCrop(*centre, side, angle)
    spot = np.round(crop.to_picture(np.array([150.0, 110.0]), 256))
    cv2.circle(picture, (int(spot[0]), int(spot[1])), int(side / 25), (255, 255, 255), -1)
    cut = crop.cut(picture, 256)[..., 0].astype(float)
    rows, columns = np.mgrid[:256, :256] + 0.5
    found = np.array([(cut * columns).sum(), (cut * rows).sum()]) / cut.sum()
    assert found == pytest.approx(to_crop(crop, spot + 0.5, 256), abs=0.15)


def test_fine_pattern_becomes_grey_instead_of_moire() -> None:
    picture = np.zeros((2160, 3840, 3), dtype=np.uint8)
    picture[::2, ::2] = picture[1::2, 1::2] = 255
    cut = SquareCrop(1920.0, 1080.0, 1500.0, 0.3).cut(picture, 256)
    # Blocks of 3 x 3 hold 4 or 5 white pixels: 127 +- 14. Without averaging it is 0 and 255.
    assert np.abs(cut.astype(int) - 127).max() <= 16


def test_crop_wholly_outside_a_fine_picture_is_black() -> None:
    picture = np.full((2160, 3840, 3), 200, dtype=np.uint8)
    assert not SquareCrop(-4000.0, 500.0, 1500.0).cut(picture, 256).any()
    assert not SquareCrop(9000.0, 9000.0, 1500.0).cut(picture, 256).any()


def test_around_circle_turns_its_rim_upward() -> None:
    crop = around_circle(np.array([100.0, 100.0]), np.array([140.0, 100.0]), 1.25)
    assert crop.side == pytest.approx(100.0)
    assert to_crop(crop, np.array([140.0, 100.0]), 100) == pytest.approx([50.0, 10.0])


def test_around_body_holds_every_joint_of_a_bent_body() -> None:
    rng = np.random.default_rng(3)
    hips = np.array([[200.0, 300.0], [220.0, 300.0]])
    shoulders = np.array([[290.0, 260.0], [300.0, 280.0]])
    joints = np.vstack([hips, shoulders, rng.uniform(150, 400, (13, 2))])
    crop = around_body(joints, shoulders, hips, 1.0)
    inside = to_crop(crop, joints, 256)
    assert (inside >= -1e-9).all()
    assert (inside <= 256 + 1e-9).all()
    spine = to_crop(crop, shoulders.mean(0), 256) - to_crop(crop, hips.mean(0), 256)
    assert spine[0] == pytest.approx(0, abs=1e-9)
    assert spine[1] < 0


def test_ahead_continues_a_uniform_motion() -> None:
    a, b = SquareCrop(100, 100, 200, 0.0), SquareCrop(110, 96, 202, 0.1)
    c = ahead(a, b, 1.0)
    assert (c.u, c.v, c.angle) == pytest.approx((120, 92, 0.2))
    assert c.side == pytest.approx(202**2 / 200)
    half = ahead(a, b, 0.5)
    assert (half.u, half.v, half.angle) == pytest.approx((115, 94, 0.15))


def test_ahead_crosses_half_a_turn_the_short_way() -> None:
    c = ahead(SquareCrop(0, 0, 100, np.pi - 0.05), SquareCrop(0, 0, 100, -np.pi + 0.05), 1.0)
    assert c.angle == pytest.approx(-np.pi + 0.15)


@given(crops, crops, st.floats(0, 3))
def test_ahead_is_bounded(a: SquareCrop, b: SquareCrop, ratio: float) -> None:
    c = ahead(a, b, ratio)
    assert np.hypot(c.u - b.u, c.v - b.v) <= MOST_AHEAD * b.side * (1 + 1e-9)
    assert b.side / MOST_GROWTH * (1 - 1e-9) <= c.side <= b.side * MOST_GROWTH * (1 + 1e-9)
