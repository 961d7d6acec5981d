from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.contract.vocabulary import Stage
from workers.pipeline.progress import STAGE_SHARES, PipelineProgress


def test_every_stage_has_a_share_and_they_sum_to_one() -> None:
    assert set(STAGE_SHARES) == set(Stage)
    assert math.isclose(sum(STAGE_SHARES.values()), 1.0)


def test_whole_run_goes_from_zero_to_one() -> None:
    seen: list[float] = []
    progress = PipelineProgress(lambda _stage, done: seen.append(done))
    for stage in Stage:
        progress.enter(stage)
        progress.advance(stage, 1.0)
    assert seen[0] == 0.0
    assert seen[-1] == pytest.approx(1.0)


@given(
    st.lists(
        st.tuples(st.sampled_from(list(Stage)), st.floats(allow_nan=True, allow_infinity=True))
    )
)
def test_progress_never_goes_back_and_stays_in_range(steps: list[tuple[Stage, float]]) -> None:
    seen: list[float] = []
    progress = PipelineProgress(lambda _stage, done: seen.append(done))
    for stage, share in steps:
        progress.advance(stage, share)
    assert seen == sorted(seen)
    assert all(0.0 <= value <= 1.0 for value in seen)
