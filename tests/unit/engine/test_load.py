"""Weight between the feet, time above a level."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.contract.skeleton import ANATOMICAL_BODY
from models.contract.vocabulary import EventName, Sex
from models.training.load_truth import Masses
from models.training.rendered.bodies import raw_joints, true_motion, truth
from workers.engine.events import Instant
from workers.engine.load import (
    dynamic_share,
    foot_point,
    static_share,
    time_at_or_above,
    zero_moment_point,
)
from workers.engine.mass import body_endpoints, centre_of_mass, spin_rate
from workers.engine.metrics.weight import rear_foot_load_share, rear_foot_load_share_dynamic
from workers.engine.segments import table
from workers.engine.uncertainty import best


@given(st.floats(-0.5, 1.5), st.floats(-180, 180), st.floats(0.2, 0.8))
def test_share_is_read_back_on_any_stance_line(share: float, heading: float, width: float) -> None:
    direction = np.array([np.cos(np.radians(heading)), np.sin(np.radians(heading)), 0.0])
    rear = np.array([0.3, -0.2, 0.08])
    front = rear + width * direction
    across = np.array([-direction[1], direction[0], 0.0])
    com = rear + (1 - share) * width * direction + 0.1 * across + np.array([0, 0, 0.9])
    assert static_share(com, rear, front) == pytest.approx(share, abs=1e-9)


def test_feet_together_give_no_share() -> None:
    point = np.array([0.0, 0.0, 0.1])
    assert not np.isfinite(static_share(point, point, point))


def test_a_still_body_has_equal_static_and_dynamic_share() -> None:
    rng = np.random.default_rng(1)
    com, rear, front = rng.normal(size=(3, 20, 3))
    still = np.zeros((20, 3))
    assert dynamic_share(com, still, rear, front) == pytest.approx(static_share(com, rear, front))


def test_no_pressure_point_in_the_air() -> None:
    com, falling = np.array([0.1, 0.0, 1.0]), np.array([0.0, 0.0, -9.81])
    assert np.isnan(zero_moment_point(com, falling)[0])


def test_time_above_a_level_does_not_depend_on_the_frame_rate() -> None:
    # a triangle that is above 0.6 for exactly 0.4 s
    for rate in (10, 25, 30, 60, 240):
        time = np.arange(0, 2 + 0.5 / rate, 1 / rate)
        share = 0.8 - np.abs(time - 1.0)
        assert time_at_or_above(time, share, 0.6) == pytest.approx(0.4, abs=1e-9)


def test_time_above_counts_nan_as_below() -> None:
    time = np.arange(5.0)
    share = np.array([0.7, 0.7, np.nan, np.nan, 0.7])
    assert time_at_or_above(time, share, 0.6) == pytest.approx(1.0, abs=0.2)


@pytest.mark.parametrize("clip", ["000", "002", "004"])
def test_share_of_rendered_serves_agrees_with_their_own_formulas(clip: str) -> None:
    # the truth files' shares come from the renderer's segment table and formulas
    document = truth(clip)
    joints = raw_joints(document)
    front, rear = ("left", "right") if document["handedness"] == "right" else ("right", "left")
    gender = document["phenotype"]["gender"]
    sex = Sex.MALE if gender > 0.5 else Sex.FEMALE
    share = static_share(
        centre_of_mass(joints, sex),
        ANATOMICAL_BODY.at(joints, f"{rear}_ankle"),
        ANATOMICAL_BODY.at(joints, f"{front}_ankle"),
    )
    release = document["serves"][0]["event_frames"]["release"]
    low = document["serves"][0]["event_frames"]["lowest_pelvis"]
    true = np.asarray(document["frame_metrics"]["rear_load_share"])
    assert share[release:low] == pytest.approx(true[release:low], abs=0.012)


TALL = 1.75
UP = np.array([0.0, 0.0, 0.08])


def test_a_flat_foot_presses_in_its_middle_and_a_raised_heel_on_the_ball() -> None:
    heel, toe = np.array([0.0, 0.0, 0.03]), np.array([0.25, 0.0, 0.02])
    assert foot_point(heel, toe, 0.01, TALL)[0] == pytest.approx(0.125)
    # the ball lies near 0.73 of the foot's length (anthropometric surveys, from memory)
    assert foot_point(heel + UP, toe, 0.01, TALL)[0] == pytest.approx(0.73 * 0.25, abs=0.01)
    assert foot_point(heel, toe + UP, 0.01, TALL)[0] < 0.06
    lost = np.array([np.nan, np.nan, np.nan])
    assert np.isnan(foot_point(lost, toe, 0.01, TALL)).all()


def test_the_force_of_a_turning_body_passes_the_centre_of_mass_as_newton_and_euler_say() -> None:
    # worked by hand: a rod that starts to tip forward about its middle, which itself stays, needs
    # a force behind the middle: N * d = I * alpha, N = m g; I = 0.3 m2 per mass, alpha = 2 rad/s2
    com, still = np.array([0.0, 0.0, 1.0]), np.zeros(3)
    spin = np.array([0.0, 0.3 * 2.0, 0.0])
    point = zero_moment_point(com, still, 0.0, spin)
    assert point[0] == pytest.approx(-0.3 * 2.0 / 9.81)
    assert point[1] == pytest.approx(0.0)


def test_a_swung_arm_turns_the_body_by_its_own_moment() -> None:
    # one hand is pulled up in front: m r x a about the centre of mass, worked out by hand
    rng = np.random.default_rng(3)
    joints = rng.normal(size=(21, 3))
    flat = np.zeros((21, 3))
    assert spin_rate(joints, flat, Sex.MALE) == pytest.approx(np.zeros(3))
    fall = np.broadcast_to(np.array([0.3, 0.0, -9.81]), (21, 3))
    assert spin_rate(joints, fall, Sex.MALE) == pytest.approx(np.zeros(3), abs=1e-12)
    about = np.array([0.2, -0.4, 0.7])
    turn = np.cross(about, joints - centre_of_mass(joints, Sex.MALE))
    got = spin_rate(joints, turn, Sex.MALE)
    centres = np.stack(
        [
            a + table(Sex.MALE)[name.partition(":")[0]].centre * (b - a)
            for name, (a, b) in body_endpoints(joints, Sex.MALE).items()
        ]
    )
    mass = np.array(
        [table(Sex.MALE)[n.partition(":")[0]].mass for n in body_endpoints(joints, Sex.MALE)]
    )
    arms = centres - centre_of_mass(joints, Sex.MALE)
    inertia = sum(
        m * (np.dot(r, r) * np.eye(3) - np.outer(r, r)) for m, r in zip(mass, arms, strict=True)
    )
    # Euler: the rate of change of angular momentum of point masses is their inertia times alpha
    assert got == pytest.approx(inertia @ about / mass.sum())


@pytest.mark.parametrize("clip", ["000", "002", "004"])
def test_both_shares_of_rendered_serves_agree_with_the_referee(clip: str) -> None:
    # `models.training.load_truth` shares no formula with the engine
    document = truth(clip)
    motion = true_motion(clip)
    low = document["serves"][0]["event_times_s"]["lowest_pelvis"]
    events = {EventName.LOADING: Instant(low, 0.001, 1.0)}
    sex = Sex.MALE if document["phenotype"]["gender"] < 0.5 else Sex.FEMALE
    body = best(motion, events, sex=sex, floor_z=float(motion.joints[..., 2].min()) - 0.011 * 1.75)
    masses = Masses(document)
    over = np.interp(low, masses.time_s, masses.posture)
    assert rear_foot_load_share(body)[0] == pytest.approx(over, abs=0.02)
    force = masses.force_share(low)
    assert rear_foot_load_share_dynamic(body)[0] == pytest.approx(force, abs=0.05)
