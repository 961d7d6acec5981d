"""The state machine of an analysis, as tables and as a random walk."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.contract.errors import Cancelled, LeaseLost
from models.contract.vocabulary import AnalysisStatus as S
from service.core import lifecycle as lc

NOW = datetime(2026, 5, 1, 12, 0, tzinfo=UTC)
POLICY = lc.Policy(lease_s=20, max_crashes=3, requeue_after_s=30)


def state(
    status: S = S.QUEUED,
    attempt: int = 1,
    crashes: int = 0,
    waited: float = 0,
    lease: float | None = None,
) -> lc.State:
    until = None if lease is None else NOW + timedelta(seconds=lease)
    return lc.State(status, attempt, crashes, NOW - timedelta(seconds=waited), until)


@pytest.mark.parametrize("status", [S.RUNNING, S.COMPLETED, S.FAILED])
def test_only_queued_work_can_be_claimed(status: S) -> None:
    refused = lc.claim(state(status), 1, NOW, POLICY)
    assert isinstance(refused, lc.Refused)
    assert isinstance(refused.error, LeaseLost)


def test_claim_starts_a_lease_for_that_attempt() -> None:
    assert lc.claim(state(attempt=2), 2, NOW, POLICY) == lc.Claimed(2, NOW + timedelta(seconds=20))


@pytest.mark.parametrize("attempt", [1, 3])
def test_claim_of_another_attempt_is_refused(attempt: int) -> None:
    assert isinstance(lc.claim(state(attempt=2), attempt, NOW, POLICY), lc.Refused)


def test_worker_learns_that_it_was_cancelled() -> None:
    for decision in (
        lc.claim(state(S.CANCELLED), 1, NOW, POLICY),
        lc.extend(state(S.CANCELLED), 1, NOW, POLICY),
        lc.settle(state(S.CANCELLED), 1, S.COMPLETED),
    ):
        assert isinstance(decision, lc.Refused)
        assert isinstance(decision.error, Cancelled)


def test_late_worker_is_fenced() -> None:
    later = state(S.RUNNING, attempt=2, lease=20)
    assert isinstance(lc.extend(later, 1, NOW, POLICY), lc.Refused)
    assert isinstance(lc.settle(later, 1, S.COMPLETED), lc.Refused)
    assert isinstance(lc.release(later, 1), lc.Refused)


def test_lapsed_lease_nobody_took_is_renewed() -> None:
    assert isinstance(lc.extend(state(S.RUNNING, lease=-5), 1, NOW, POLICY), lc.Extended)


def test_an_attempt_cannot_settle_as_queued() -> None:
    with pytest.raises(ValueError):
        lc.settle(state(S.RUNNING, lease=5), 1, S.QUEUED)


@pytest.mark.parametrize(
    ("given_state", "in_queue", "expected"),
    [
        (state(S.RUNNING, lease=1), None, lc.Leave()),
        (state(S.RUNNING, lease=-1), None, lc.Requeue(2, 1)),
        (state(S.RUNNING, lease=0), None, lc.Requeue(2, 1)),
        (state(S.RUNNING, attempt=4, crashes=1, lease=-1), None, lc.Requeue(5, 2)),
        (state(S.RUNNING, attempt=3, crashes=2, lease=-1), None, lc.GiveUp(3)),
        (state(waited=29), False, lc.Leave()),
        (state(waited=30), False, lc.EnqueueAgain(1)),
        (state(waited=300), True, lc.Leave()),
        (state(waited=300), None, lc.Leave()),
        (state(S.COMPLETED, lease=-1), False, lc.Leave()),
        (state(S.FAILED, lease=-1), False, lc.Leave()),
        (state(S.CANCELLED, lease=-1), False, lc.Leave()),
    ],
)
def test_reconciler_decisions(
    given_state: lc.State, in_queue: bool | None, expected: object
) -> None:
    assert lc.recover(given_state, NOW, POLICY, in_queue) == expected


def test_release_does_not_count_as_a_crash() -> None:
    assert lc.release(state(S.RUNNING, attempt=2, crashes=1, lease=5), 2) == lc.Requeue(3, 1)


@pytest.mark.parametrize("status", list(S))
def test_final_states_cannot_be_cancelled(status: S) -> None:
    decision = lc.cancel(state(status))
    assert isinstance(decision, lc.Leave) == (status in lc.FINAL)


@given(st.lists(st.sampled_from(["claim", "lapse", "release", "complete", "cancel"]), max_size=30))
def test_walks_end_once_and_tokens_only_rise(moves: list[str]) -> None:
    now, current, ended, tokens = NOW, state(), 0, [1]
    for move in moves:
        status, attempt, crashes, lease = (
            current.status,
            current.attempt,
            current.crashes,
            current.lease_until,
        )
        decision: object
        if move == "claim":
            decision = lc.claim(current, attempt, now, POLICY)
        elif move == "lapse":
            now += timedelta(seconds=21)
            decision = lc.recover(current, now, POLICY, None)
        elif move == "release":
            decision = lc.release(current, attempt)
        elif move == "complete":
            decision = lc.settle(current, attempt, S.COMPLETED)
        else:
            decision = lc.cancel(current)
        if isinstance(decision, lc.Claimed):
            status, lease = S.RUNNING, decision.lease_until
        elif isinstance(decision, lc.Requeue):
            status, attempt, crashes, lease = S.QUEUED, decision.attempt, decision.crashes, None
            tokens.append(attempt)
        elif isinstance(decision, lc.GiveUp):
            status, ended = S.FAILED, ended + 1
        elif isinstance(decision, lc.Settled):
            status, ended = decision.status, ended + 1
        current = lc.State(status, attempt, crashes, current.queued_at, lease)
        assert crashes < POLICY.max_crashes
    assert ended <= 1
    assert tokens == sorted(set(tokens))
