"""What follows a try to deliver, decided purely."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from service.core.outbox import RETRY_AFTER_S, Next, Outcome, after_try

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
