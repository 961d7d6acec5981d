from __future__ import annotations

import threading
import time

import pytest

from models.contract.errors import (
    Cancelled,
    DatabaseUnavailable,
    LeaseLost,
    ObjectStoreUnavailable,
)
from models.contract.vocabulary import Stage
from workers.jobs import lease as module
from workers.jobs.lease import Lease


def test_progress_reaches_the_database() -> None:
    seen: list[tuple[Stage | None, float | None]] = []
    renewed = threading.Event()

    def renew(stage: Stage | None, done: float | None, _left: float | None) -> None:
        seen.append((stage, done))
        if stage is not None:
            renewed.set()

    with Lease(renew, 0.01) as lease:
        lease(Stage.POSE, 0.5)
        assert renewed.wait(10)
    assert seen[-1] == (Stage.POSE, 0.5)


@pytest.mark.parametrize("error", [LeaseLost(), Cancelled()])
def test_lost_lease_ends_the_work_at_the_next_report(error: LeaseLost | Cancelled) -> None:
    def renew(_stage: Stage | None, _done: float | None, _left: float | None) -> None:
        raise error

    def work(lease: Lease) -> None:
        end = time.monotonic() + 10
        while time.monotonic() < end:
            lease(Stage.POSE, 0.1)
            time.sleep(0.01)

    with Lease(renew, 0.01) as lease, pytest.raises(type(error)):
        work(lease)


def test_outage_of_the_database_does_not_end_the_work() -> None:
    calls: list[int] = []
    enough = threading.Event()

    def renew(_stage: Stage | None, _done: float | None, _left: float | None) -> None:
        calls.append(1)
        if len(calls) >= 3:
            enough.set()
        raise DatabaseUnavailable

    with Lease(renew, 0.01) as lease:
        assert enough.wait(10)
        lease(Stage.POSE, 0.2)


def test_steps_are_repeated_while_a_dependency_is_away(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "FIRST_WAIT_S", 0.001)
    answers: list[Exception | str] = [ObjectStoreUnavailable(), ObjectStoreUnavailable(), "done"]

    def step() -> str:
        answer = answers.pop(0)
        if isinstance(answer, Exception):
            raise answer
        return answer

    assert Lease(lambda _s, _d: None, 60).patiently(step) == "done"


def test_other_errors_pass_at_once() -> None:
    def step() -> None:
        raise KeyError("x")

    with pytest.raises(KeyError):
        Lease(lambda _s, _d: None, 60).patiently(step)
