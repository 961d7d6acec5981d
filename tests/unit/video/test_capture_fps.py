from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.contract.errors import FrameRateDoubtful, InvalidRequest
from workers.video.capture_fps import tagged_rate, time_scale

RATES = st.floats(1, 1000, allow_nan=False)


def test_eightfold_slow_motion() -> None:
    """240 pictures a second played at 30: one file second is an eighth of a real one."""
    scale = time_scale(30.0, given=240.0)
    assert (scale.factor, scale.frame_rate, scale.source) == (0.125, 240.0, "given")
    assert scale.problem() is None


@given(RATES, RATES)
def test_scaled_frames_come_at_the_capture_rate(file_rate: float, capture: float) -> None:
    scale = time_scale(file_rate, given=capture)
    assert 1 / (scale.factor / file_rate) == pytest.approx(capture)


@given(RATES)
def test_without_evidence_the_file_is_believed(rate: float) -> None:
    scale = time_scale(rate, tags={"encoder": "x", "com.android.version": "15"})
    assert (scale.factor, scale.frame_rate, scale.source) == (1.0, rate, "file")


@pytest.mark.parametrize("file_rate", [29.97, 24.9, 30.0, 36.0])
def test_a_tag_that_restates_the_rate_changes_nothing(file_rate: float) -> None:
    assert time_scale(file_rate, tags={"com.android.capture.fps": "30.0"}).source == "file"


def test_a_tag_of_another_rate_is_used_and_said() -> None:
    scale = time_scale(29.97, tags={"Com.Android.Capture.FPS": "120.000000"})
    assert scale.factor == pytest.approx(29.97 / 120)
    assert scale.source == "tag"
    problem = scale.problem()
    assert isinstance(problem, FrameRateDoubtful)
    assert "capture_fps" in problem.detail
    assert "120" in problem.detail


@pytest.mark.parametrize("value", ["", "fast", "nan", "inf", "-240", "0", "1e9"])
def test_nonsense_tags_are_not_evidence(value: str) -> None:
    assert tagged_rate({"com.android.capture.fps": value}) is None


@pytest.mark.parametrize("value", [0.0, -1.0, math.nan, math.inf, 20_000.0])
def test_nonsense_from_the_caller_is_refused(value: float) -> None:
    with pytest.raises(InvalidRequest):
        time_scale(30.0, given=value)
