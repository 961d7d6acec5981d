"""The queue adapter against a real Redis or Valkey server."""

from __future__ import annotations

import pytest
from rq.job import Job
from rq.serializers import JSONSerializer

from models.contract.errors import QueueUnavailable
from service.core.identifiers import new_id
from service.core.queue import RUN_ANALYSIS, WorkQueue, job_id
from service.core.wiring import Wiring


def test_enqueued_job_is_known_and_named_by_attempt(wiring: Wiring) -> None:
    analysis_id = new_id("ana")
    assert not wiring.queue.is_known(analysis_id, 1)
    wiring.queue.enqueue(analysis_id, 1)
    assert wiring.queue.is_known(analysis_id, 1)
    assert not wiring.queue.is_known(analysis_id, 2)
    assert len(wiring.queue) == 1
    job = Job.fetch(
        job_id(analysis_id, 1), connection=wiring.queue.connection, serializer=JSONSerializer
    )
    assert job.func_name == RUN_ANALYSIS
    assert list(job.args) == [analysis_id, 1]


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
    assert not wiring.queue.connection.exists(Job.key_for(job_id(analysis_id, 1)))


def test_the_record_of_a_job_that_a_worker_has_is_left_to_the_worker(wiring: Wiring) -> None:
    analysis_id = new_id("ana")
    wiring.queue.enqueue(analysis_id, 1)
    connection = wiring.queue.connection
    connection.lpop(f"rq:queue:{wiring.queue.name}")
    wiring.queue.remove(analysis_id, 1)
    assert connection.exists(Job.key_for(job_id(analysis_id, 1)))


def test_absent_server_is_a_typed_error() -> None:
    queue = WorkQueue("redis://127.0.0.1:1/0", "analyses", 60)
    for call in (
        queue.ping,
        lambda: queue.enqueue("ana_1", 1),
        lambda: queue.is_known("ana_1", 1),
        lambda: queue.remove("ana_1", 1),
        lambda: len(queue),
    ):
        with pytest.raises(QueueUnavailable):
            call()
