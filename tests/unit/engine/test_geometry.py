"""Angles against general-purpose libraries on random poses, and their properties."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from workers.engine.geometry import (
    angle_between,
    elevation,
    flexion,
    inclination,
    line_turn,
    separation,
    unwrap,
    wrap180,
)

finite = st.floats(-5, 5, allow_nan=False)
vector = st.tuples(finite, finite, finite).map(np.array)


def test_flexion_against_rotations_of_scipy() -> None:
    # scipy.spatial.transform.Rotation: the shank is the thigh turned by a known angle
    rng = np.random.default_rng(1)
    for _ in range(200):
        thigh = rng.normal(size=3)
        axis = np.cross(thigh, rng.normal(size=3))
        axis /= np.linalg.norm(axis)
        angle = rng.uniform(0, 179)
        shank = Rotation.from_rotvec(np.radians(angle) * axis).apply(thigh) * rng.uniform(0.5, 2)
        knee = rng.normal(size=3)
        assert flexion(knee - thigh, knee, knee + shank) == pytest.approx(angle, abs=1e-7)


def test_knee_and_elbow_against_kineticstoolkit() -> None:
    # kineticstoolkit: frames from points, then Euler angles between them. With both frames
    # sharing the hinge axis the hinge angle is the flexion.
    ktk = pytest.importorskip("kineticstoolkit")
    rng = np.random.default_rng(2)
    for _ in range(50):
        hip, knee, ankle = rng.normal(size=(3, 3))
        normal = np.cross(knee - hip, ankle - knee)

        def homogeneous(v: np.ndarray, w: float) -> np.ndarray:
            return np.array([[*v, w]])

        frames = [
            ktk.geometry.create_frames(
                origin=homogeneous(knee, 1.0),
                y=homogeneous(along, 0.0),
                yz=homogeneous(normal, 0.0),
            )
            for along in (knee - hip, ankle - knee)
        ]
        local = ktk.geometry.get_local_coordinates(frames[1], frames[0])
        angles = ktk.geometry.get_angles(local, "ZXY", degrees=True)
        assert abs(angles[0, 0]) == pytest.approx(float(flexion(hip, knee, ankle)), abs=1e-6)


@given(vector, vector, st.floats(0.1, 10), st.floats(0.1, 10))
def test_angle_does_not_depend_on_length(u: np.ndarray, v: np.ndarray, a: float, b: float) -> None:
    if np.linalg.norm(u) < 1e-3 or np.linalg.norm(v) < 1e-3:
        return
    assert angle_between(a * u, b * v) == pytest.approx(float(angle_between(u, v)), abs=1e-6)


@settings(max_examples=60)
@given(st.integers(0, 10_000), st.floats(-180, 180))
def test_turning_the_world_about_the_vertical(seed: int, turn: float) -> None:
    points = np.random.default_rng(seed).normal(size=(4, 3))
    spun = Rotation.from_euler("z", turn, degrees=True).apply(points)
    assert inclination(*spun[:2]) == pytest.approx(float(inclination(*points[:2])), abs=1e-6)
    assert elevation(*spun[:2]) == pytest.approx(float(elevation(*points[:2])), abs=1e-6)
    gap = wrap180(separation(*spun) - separation(*points))
    assert abs(float(gap)) == pytest.approx(0.0, abs=1e-6)


@settings(max_examples=60)
@given(st.integers(0, 10_000))
def test_mirror_reverses_the_sense_of_turn_only(seed: int) -> None:
    rear, front = np.random.default_rng(seed).normal(size=(2, 3))
    flip = np.array([1.0, -1.0, 1.0])
    total = line_turn(rear, front) + line_turn(rear * flip, front * flip)
    assert abs(float(wrap180(total - 180.0))) % 360 == pytest.approx(0.0, abs=1e-6)


def test_turn_names() -> None:
    zero = np.zeros(3)
    assert line_turn(zero, np.array([0.0, 1.0, 0.0])) == pytest.approx(0.0)  # chest to the net
    assert line_turn(zero, np.array([1.0, 0.0, 0.0])) == pytest.approx(90.0)  # side-on
    assert line_turn(zero, np.array([1.0, -1.0, 0.0])) == pytest.approx(135.0)  # coiled


def test_degenerate_vectors_give_nan_not_a_guess() -> None:
    assert np.isnan(flexion(np.zeros(3), np.zeros(3), np.ones(3)))


def test_unwrap_takes_out_jumps() -> None:
    assert unwrap(np.array([170.0, 179.0, -172.0, -160.0])).tolist() == [170, 179, 188, 200]


@given(st.floats(-1000, 1000))
def test_wrap180_stays_in_range_and_keeps_the_angle(angle: float) -> None:
    wrapped = float(wrap180(angle))
    assert -180 <= wrapped < 180
    turns = (wrapped - angle) / 360.0
    assert turns == pytest.approx(round(turns), abs=1e-9)
