"""When the next retention check is due: the delays of the motor-learning literature that the
module names (24 h, 1 week, 4 weeks; Psychol Res 2012, from memory)."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.contract.retention import MIN_DELAY, next_check

PRACTICE = datetime(2026, 5, 4, 17, 0, tzinfo=UTC)


def after(**delay: float) -> datetime:
    return PRACTICE + timedelta(**delay)


@pytest.mark.parametrize(
    ("tested", "now", "opens", "closes"),
    [
        ([], after(hours=1), after(hours=24), after(hours=72)),
        ([], after(hours=80), after(days=6), after(days=9)),
        ([after(hours=30)], after(hours=31), after(days=6), after(days=9)),
        ([after(hours=2)], after(hours=3), after(hours=24), after(hours=72)),  # too early a test
        ([after(days=7)], after(days=8), after(days=25), after(days=35)),
    ],
)
def test_next_window(
    tested: list[datetime], now: datetime, opens: datetime, closes: datetime
) -> None:
    check = next_check([after(days=-3), PRACTICE], tested, now)
    assert check is not None
    assert (check.not_before, check.not_after) == (opens, closes)


def test_nothing_to_check() -> None:
    assert next_check([], [], PRACTICE) is None
    assert next_check([PRACTICE], [], after(days=36)) is None
    assert next_check([PRACTICE], [], after(days=34)) is not None


@given(st.floats(min_value=0, max_value=60 * 24))
def test_a_check_is_never_due_within_a_day_and_never_past(hours: float) -> None:
    now = after(hours=hours)
    check = next_check([PRACTICE], [], now)
    if check is not None:
        assert check.not_before - PRACTICE >= MIN_DELAY
        assert check.not_before < check.not_after
        assert check.not_after >= now
