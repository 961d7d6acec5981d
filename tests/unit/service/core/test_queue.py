"""The queue adapter against a real Redis or Valkey server."""

from __future__ import annotations

import json
import zlib

import pytest

from models.contract.errors import QueueUnavailable
from service.core.identifiers import new_id
from service.core.jobs import AttemptJob
from service.core.kinds import Lane
from service.core.queue import WorkQueue, attempt_at
from service.core.wiring import Wiring


def test_enqueued_job_is_known_and_named_by_attempt(wiring: Wiring) -> None:
    analysis_id = new_id("ana")
    assert not wiring.queue.is_known(analysis_id, 1)
    wiring.queue.enqueue(analysis_id, 1)
    assert wiring.queue.is_known(analysis_id, 1)
    assert not wiring.queue.is_known(analysis_id, 2)
    assert len(wiring.queue) == 1
    record = wiring.queue.connection.hgetall(f"rq:job:{analysis_id}-1")
    assert json.loads(zlib.decompress(record[b"data"])) == {
        "kind": "analysis",
        "id": analysis_id,
        "attempt": 1,
    }


def test_short_work_waits_in_a_queue_of_its_own(wiring: Wiring) -> None:
    for prefix in ("ana", "cmp", "prg", "pln", "drl"):
        wiring.queue.enqueue(new_id(prefix), 1)
    connection, name = wiring.queue.connection, wiring.queue.name
    assert connection.llen(f"rq:queue:{name}") == wiring.queue.waiting_in(Lane.LONG) == 2
    assert connection.llen(f"rq:queue:{name}-short") == wiring.queue.waiting_in(Lane.SHORT) == 3
    assert len(wiring.queue) == len(wiring.queue.waiting()) == 5


@pytest.mark.parametrize("prefix", ["ana", "pln"])
def test_each_lane_is_looked_through(wiring: Wiring, prefix: str) -> None:
    work_id = new_id(prefix)
    wiring.queue.enqueue(work_id, 1)
    assert wiring.queue.is_known(work_id, 1)
    wiring.queue.remove(work_id, 1)
    assert not wiring.queue.is_known(work_id, 1)
    assert len(wiring.queue) == 0


def test_job_whose_list_entry_is_lost_is_not_known(wiring: Wiring) -> None:
    analysis_id = new_id("ana")
    wiring.queue.enqueue(analysis_id, 1)
    wiring.queue.connection.delete(f"rq:queue:{wiring.queue.name}")
    assert not wiring.queue.is_known(analysis_id, 1)


def test_removed_job_is_gone(wiring: Wiring) -> None:
    analysis_id = new_id("ana")
    wiring.queue.enqueue(analysis_id, 1)
    wiring.queue.remove(analysis_id, 1)
    assert not wiring.queue.is_known(analysis_id, 1)
    assert len(wiring.queue) == 0
    assert not wiring.queue.connection.exists(AttemptJob.key_for(attempt_at(analysis_id, 1).job_id))


def test_the_record_of_a_job_that_a_worker_has_is_left_to_the_worker(wiring: Wiring) -> None:
    analysis_id = new_id("ana")
    wiring.queue.enqueue(analysis_id, 1)
    connection = wiring.queue.connection
    connection.lpop(f"rq:queue:{wiring.queue.name}")
    wiring.queue.remove(analysis_id, 1)
    assert connection.exists(AttemptJob.key_for(attempt_at(analysis_id, 1).job_id))


def test_absent_server_is_a_typed_error() -> None:
    analysis_id = new_id("ana")
    queue = WorkQueue("redis://127.0.0.1:1/0", lambda: "analyses", 60)
    for call in (
        queue.ping,
        lambda: queue.enqueue(analysis_id, 1),
        lambda: queue.is_known(analysis_id, 1),
        lambda: queue.remove(analysis_id, 1),
        lambda: len(queue),
    ):
        with pytest.raises(QueueUnavailable):
            call()


def test_all_that_waits_is_read_at_once(wiring: Wiring) -> None:
    assert wiring.queue.waiting() == frozenset()
    ids = [new_id("ana") for _ in range(3)]
    for one in ids:
        wiring.queue.enqueue(one, 1)
    assert wiring.queue.waiting() == {f"{one}-1" for one in ids}
    wiring.queue.remove(ids[0], 1)
    assert wiring.queue.waiting() == {f"{one}-1" for one in ids[1:]}
