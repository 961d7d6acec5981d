"""What follows a try to deliver, decided purely."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from service.core.retries import (
    LONGEST_ASKED_S,
    LONGEST_REST_S,
    RETRY_AFTER_S,
    Next,
    Outcome,
    after_try,
    rest_after,
)

NOW = datetime(2026, 5, 1, tzinfo=UTC)


def test_schedule_is_the_example_of_standard_webhooks() -> None:
    # Standard Webhooks 1.0, retry schedule: 5 s, 5 min, 30 min, 2 h, 5 h, 10 h, 14 h, 20 h, 24 h;
    # together 75.6 h.
    assert sum(RETRY_AFTER_S) / 3600 == pytest.approx(75.6, abs=0.05)
    due, waits = NOW, []
    for tries in range(1, len(RETRY_AFTER_S) + 1):
        following = after_try(Outcome(500), tries, due)
        assert following.due_at is not None
        waits.append((following.due_at - due).total_seconds())
        due = following.due_at
    assert tuple(waits) == RETRY_AFTER_S
    assert after_try(Outcome(500), len(RETRY_AFTER_S) + 1, due) == Next("failed")


@pytest.mark.parametrize("status", [200, 201, 202, 204, 299])
def test_only_2xx_is_delivered(status: int) -> None:
    assert after_try(Outcome(status), 1, NOW) == Next("delivered")


@pytest.mark.parametrize("status", [None, 100, 300, 301, 302, 307, 400, 404, 429, 500, 503])
def test_anything_else_is_tried_again(status: int | None) -> None:
    assert after_try(Outcome(status), 1, NOW) == Next("pending", NOW + timedelta(seconds=5))


def test_gone_ends_it() -> None:
    assert after_try(Outcome(410), 1, NOW) == Next("failed", disable_endpoint=True)


def test_a_receiver_that_is_away_is_rested_longer_and_longer() -> None:
    # RFC 9110 15.6.3-15.6.5: 502, 503, 504; RFC 6585 4: 429
    for outcome in (Outcome(None, "no answer"), *map(Outcome, (429, 502, 503, 504))):
        rests = [rest_after(outcome, failures) for failures in range(1, 9)]
        seconds = [rest.total_seconds() for rest in rests if rest is not None]
        assert seconds == [5, 10, 20, 40, 80, 160, LONGEST_REST_S, LONGEST_REST_S]
    assert rest_after(Outcome(None), 10_000) == timedelta(seconds=LONGEST_REST_S)


@pytest.mark.parametrize("status", [200, 204, 302, 400, 404, 410, 500])
def test_an_answer_about_one_event_rests_nobody(status: int) -> None:
    assert rest_after(Outcome(status), 3) is None


@pytest.mark.parametrize(
    ("asked", "seconds"),
    [("60", 60), ("1", 5), ("999999", LONGEST_ASKED_S), ("-5", 5), ("soon", 5), ("1e9", 5)],
)
def test_retry_after_is_followed_within_bounds(asked: str, seconds: float) -> None:
    # RFC 9110 10.2.3; the form as a date is not read, which rests it as if none were given
    outcome = Outcome(503, headers={"retry-after": asked})
    assert rest_after(outcome, 1) == timedelta(seconds=seconds)
