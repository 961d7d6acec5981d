"""Weight between the feet, time above a level."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.contract.skeleton import ANATOMICAL_BODY
from models.contract.vocabulary import Sex
from models.training.rendered.bodies import raw_joints, truth
from workers.engine.load import (
    dynamic_share,
    static_share,
    time_at_or_above,
    zero_moment_point,
)
from workers.engine.mass import centre_of_mass


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
