"""The levelled camera: derivatives against differences, projection against OpenCV."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from workers.engine.camera import LevelCamera, rotation

ANGLE = st.floats(-0.3, 0.3)


@given(ANGLE, ANGLE)
def test_rotation_is_one(pitch: float, roll: float) -> None:
    turn = rotation(pitch, roll)
    np.testing.assert_allclose(turn @ turn.T, np.eye(3), atol=1e-12)
    assert np.linalg.det(turn) == pytest.approx(1.0)


def test_looking_down_lifts_what_is_straight_ahead() -> None:
    camera = LevelCamera(1000.0, (640.0, 360.0), pitch=0.1)
    uv, _, _ = camera.project(np.array([[0.0, 5.0, 0.0]]))
    assert uv[0, 1] < 360.0


@given(ANGLE, ANGLE, st.floats(500, 3000))
def test_derivatives(pitch: float, roll: float, focal: float) -> None:
    camera = LevelCamera(focal, (640.0, 360.0), pitch, roll)
    point = np.array([0.4, 6.0, -0.7])
    _, by_point, by_camera = camera.project(point)
    h = 1e-6
    for i in range(3):
        step = np.zeros(3)
        step[i] = h
        change = (camera.project(point + step)[0] - camera.project(point - step)[0]) / (2 * h)
        np.testing.assert_allclose(by_point[:, i], change, rtol=1e-4, atol=1e-3)
        moves = [0.0, 0.0, 0.0, 0.0]
        moves[i] = h
        back = [-m for m in moves]
        change = (
            camera.moved(*moves).project(point)[0] - camera.moved(*back).project(point)[0]
        ) / (2 * h)
        np.testing.assert_allclose(by_camera[:, i], change, rtol=1e-4, atol=1e-2)


def test_court_camera_projects_as_opencv_does() -> None:
    level = LevelCamera(1200.0, (640.0, 360.0), 0.05, -0.02)
    origin = np.array([0.3, 7.0, -1.4])
    camera = level.in_court(0.4, origin)
    points = np.random.default_rng(0).normal(size=(20, 3)) * 0.5
    expected, _ = cv2.projectPoints(points, cv2.Rodrigues(camera.R)[0], camera.t, camera.K, None)
    np.testing.assert_allclose(camera.project(points), expected[:, 0], atol=1e-6)


def test_court_and_levelled_frame_agree() -> None:
    level = LevelCamera(1200.0, (640.0, 360.0), 0.05, -0.02)
    heading, origin = 0.4, np.array([0.3, 7.0, -1.4])
    c, s = np.cos(heading), np.sin(heading)
    court = np.array([[0.2, -0.1, 1.1]])
    there = court @ np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]]) + origin
    np.testing.assert_allclose(
        level.in_court(heading, origin).project(court), level.project(there)[0], atol=1e-9
    )
