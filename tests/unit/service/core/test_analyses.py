"""Analyses in the database: leases, fencing, the event in the same commit, erasure."""

from __future__ import annotations

import json
import threading
from datetime import timedelta

import pytest
from sqlalchemy import select, update

from models.contract.errors import Cancelled, ClipDamaged, Erased, LeaseLost
from models.contract.vocabulary import AnalysisStatus, Stage, WorkKind
from models.contract.webhook import WebhookEvent
from service.core import lifecycle
from service.core.claims import StoredFile
from service.core.database import Database
from service.core.identifiers import new_id
from service.core.intake import Received
from service.core.kinds import KINDS
from service.core.limits import Limits
from service.core.objects import ObjectMissing
from service.core.principal import Principal
from service.core.quotas import Quotas
from service.core.tables import Clip, Delivery, OutboxEvent, WebhookEndpoint, Work
from service.core.wiring import Wiring
from service.core.work import WorkStore
from tests.films import queue_analysis

KEY = Principal("key", "main", frozenset({"admin"}))


def result_prefix(analysis_id: str, attempt: int) -> str:
    return KINDS[WorkKind.ANALYSIS].result_prefix("main", analysis_id, attempt)


def film(wiring: Wiring, sha256: str = "a" * 64) -> Clip:
    clip_id = new_id("clip")
    wiring.objects.put_bytes(f"clips/{clip_id}/film", b"film", "video/mp4")
    return wiring.clips.register(KEY, clip_id, Received(sha256, 4, "video/mp4")).clip


def queued(wiring: Wiring) -> str:
    return queue_analysis(wiring, film(wiring).id, {"height_m": 1.8})


def row(wiring: Wiring, analysis_id: str) -> Work:
    with wiring.database.read() as session:
        return session.get_one(Work, analysis_id)


def test_claim_hands_out_what_a_worker_needs(wiring: Wiring) -> None:
    analysis_id = queued(wiring)
    claim = wiring.work.claim(WorkKind.ANALYSIS, analysis_id, 1, "w1")
    assert claim.request["options"]["height_m"] == 1.8
    assert claim.film is not None
    assert claim.film.sha256 == "a" * 64
    assert claim.inputs == ()
    assert claim.result_prefix == result_prefix(analysis_id, 1)
    assert wiring.objects.stat(claim.film.key).size_bytes == 4
    assert row(wiring, analysis_id).status == "running"


def test_only_one_of_many_workers_gets_the_claim(wiring: Wiring) -> None:
    analysis_id = queued(wiring)
    outcomes: list[str] = []

    def work(name: str) -> None:
        try:
            wiring.work.claim(WorkKind.ANALYSIS, analysis_id, 1, name)
            outcomes.append("claimed")
        except LeaseLost:
            outcomes.append("lost")

    threads = [threading.Thread(target=work, args=(f"w{i}",)) for i in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(outcomes) == ["claimed"] + ["lost"] * 7


def test_progress_only_rises(wiring: Wiring) -> None:
    analysis_id = queued(wiring)
    wiring.work.claim(WorkKind.ANALYSIS, analysis_id, 1, "w1")
    wiring.work.heartbeat(analysis_id, 1, Stage.POSE, 0.5)
    wiring.work.heartbeat(analysis_id, 1, Stage.POSE, 0.4)
    wiring.work.heartbeat(analysis_id, 1)
    found = row(wiring, analysis_id)
    assert (found.stage, found.progress) == ("pose", 0.5)


def test_progress_does_not_go_back_when_another_attempt_begins(wiring: Wiring) -> None:
    analysis_id = queued(wiring)
    wiring.work.claim(WorkKind.ANALYSIS, analysis_id, 1, "w1")
    wiring.work.heartbeat(analysis_id, 1, Stage.POSE, 0.5, 12.0)
    assert row(wiring, analysis_id).time_left_s == 12.0
    wiring.work.release(analysis_id, 1)
    assert row(wiring, analysis_id).progress == 0.5
    assert row(wiring, analysis_id).time_left_s is None
    wiring.work.claim(WorkKind.ANALYSIS, analysis_id, 2, "w2")
    wiring.work.heartbeat(analysis_id, 2, Stage.POSE, 0.2)
    assert row(wiring, analysis_id).progress == 0.5
    wiring.work.heartbeat(analysis_id, 2, Stage.POSE, 0.6)
    assert row(wiring, analysis_id).progress == 0.6


def artifact(analysis_id: str, attempt: int) -> StoredFile:
    return StoredFile(
        f"{result_prefix(analysis_id, attempt)}/result.json", "b" * 64, 2, "application/json"
    )


def test_result_and_event_appear_together(wiring: Wiring) -> None:
    with wiring.database.write() as session:
        now = wiring.database.now(session)
        for name, types in (("all", []), ("failed only", ["analysis.failed"])):
            session.add(
                WebhookEndpoint(
                    id=name,
                    tenant_id="main",
                    created_at=now,
                    updated_at=now,
                    url="https://hooks.example/a",
                    event_types=types,
                    enabled=True,
                    secret="whsec_eA==",
                )
            )
    analysis_id = queued(wiring)
    wiring.work.claim(WorkKind.ANALYSIS, analysis_id, 1, "w1")
    wiring.work.complete(
        analysis_id, 1, {"result": artifact(analysis_id, 1)}, headline={"serves": 1}
    )
    with wiring.database.read() as session:
        event = session.scalars(select(OutboxEvent)).one()
        deliveries = session.scalars(select(Delivery)).all()
    body = WebhookEvent.model_validate(json.loads(event.body))
    assert body.id == event.id
    assert body.type == "analysis.completed"
    assert body.data.links["result"] == f"/v1/analyses/{analysis_id}/result"
    assert body.data.headline == {"serves": 1}
    assert [item.endpoint_id for item in deliveries] == ["all"]
    assert row(wiring, analysis_id).progress == 1.0


def test_result_outside_the_attempts_prefix_is_refused(wiring: Wiring) -> None:
    analysis_id = queued(wiring)
    wiring.work.claim(WorkKind.ANALYSIS, analysis_id, 1, "w1")
    with pytest.raises(ValueError, match="prefix"):
        wiring.work.complete(analysis_id, 1, {"result": artifact(analysis_id, 2)})


def test_failure_keeps_the_problem(wiring: Wiring) -> None:
    analysis_id = queued(wiring)
    wiring.work.claim(WorkKind.ANALYSIS, analysis_id, 1, "w1")
    wiring.work.fail(analysis_id, 1, ClipDamaged(), Stage.DECODE)
    problem = row(wiring, analysis_id).problem
    assert problem is not None
    assert problem["code"] == "clip_damaged"
    assert problem["stage"] == "decode"


def test_released_work_goes_on_under_the_next_attempt(wiring: Wiring) -> None:
    analysis_id = queued(wiring)
    wiring.work.claim(WorkKind.ANALYSIS, analysis_id, 1, "w1")
    assert wiring.work.release(analysis_id, 1) == 2
    with pytest.raises(LeaseLost):
        wiring.work.complete(analysis_id, 1, {})
    assert wiring.work.claim(WorkKind.ANALYSIS, analysis_id, 2, "w2").crashes == 0


def lapse(database: Database, analysis_id: str) -> None:
    with database.write() as session:
        session.execute(
            update(Work)
            .where(Work.id == analysis_id)
            .values(lease_until=database.now(session) - timedelta(seconds=1))
        )


def test_reconciler_recovers_a_lapsed_lease_and_fences_the_old_worker(wiring: Wiring) -> None:
    analysis_id = queued(wiring)
    wiring.work.claim(WorkKind.ANALYSIS, analysis_id, 1, "w1")
    assert wiring.reconciler().run_once().requeued == 0
    lapse(wiring.database, analysis_id)
    assert wiring.reconciler().run_once().requeued == 1
    assert wiring.queue.is_known(analysis_id, 2)
    with pytest.raises(LeaseLost):
        wiring.work.heartbeat(analysis_id, 1)
    wiring.work.claim(WorkKind.ANALYSIS, analysis_id, 2, "w2")


def test_three_crashes_fail_the_analysis(wiring: Wiring) -> None:
    analysis_id = queued(wiring)
    for attempt in (1, 2, 3):
        wiring.work.claim(WorkKind.ANALYSIS, analysis_id, attempt, "w")
        wiring.work.heartbeat(analysis_id, attempt, Stage.DECODE)
        lapse(wiring.database, analysis_id)
        wiring.reconciler().run_once()
    found = row(wiring, analysis_id)
    assert found.status == "failed"
    assert found.problem is not None
    assert (found.problem["code"], found.problem["stage"]) == ("worker_crashed", "decode")
    with wiring.database.read() as session:
        assert [e.type for e in session.scalars(select(OutboxEvent))] == ["analysis.failed"]


def test_work_lost_by_the_queue_is_sent_again(wiring: Wiring) -> None:
    analysis_id = queued(wiring)  # never enqueued, as after losing all of Redis
    assert wiring.reconciler().run_once().enqueued_again == 0  # too early
    with wiring.database.write() as session:
        session.execute(
            update(Work).values(queued_at=wiring.database.now(session) - timedelta(seconds=31))
        )
    assert wiring.reconciler().run_once().enqueued_again == 1
    assert wiring.queue.is_known(analysis_id, 1)
    assert wiring.reconciler().run_once().enqueued_again == 0


def test_only_the_elected_reconciler_runs(wiring: Wiring) -> None:
    assert wiring.reconciler().run_if_elected() is not None
    assert wiring.database.take_lock("reconciler", "another", 30) is False
    assert wiring.database.take_lock("another lock", "another", 30) is True


def test_cancelled_work_stops_at_the_next_heartbeat(wiring: Wiring) -> None:
    analysis_id = queued(wiring)
    wiring.work.claim(WorkKind.ANALYSIS, analysis_id, 1, "w1")
    assert wiring.work.cancel(KEY, analysis_id).status is AnalysisStatus.CANCELLED
    with pytest.raises(Cancelled):
        wiring.work.heartbeat(analysis_id, 1)


def test_erased_while_running(wiring: Wiring) -> None:
    clip = film(wiring)
    analysis_id = queue_analysis(wiring, clip.id)
    claim = wiring.work.claim(WorkKind.ANALYSIS, analysis_id, 1, "w1")
    wiring.eraser.carry_out(wiring.eraser.clip(KEY, clip.id))
    late = f"{claim.result_prefix}/joints.npz"
    wiring.objects.put_bytes(late, b"x", "application/octet-stream")
    with pytest.raises(Erased):
        wiring.work.complete(analysis_id, 1, {})
    assert wiring.reconciler().run_once().swept == 1
    with pytest.raises(ObjectMissing):
        wiring.objects.stat(late)
    assert list(wiring.objects.list()) == []


def test_store_uses_the_clock_it_is_given(database_url: str, wiring: Wiring) -> None:
    analysis_id = queued(wiring)
    with wiring.database.read() as session:
        later = wiring.database.now(session) + timedelta(hours=1)
    database = Database(database_url, clock=lambda: later)
    store = WorkStore(database, lifecycle.Policy(lease_s=7), Quotas(database, Limits()))
    try:
        assert store.claim(WorkKind.ANALYSIS, analysis_id, 1, "w").lease_until == later + timedelta(
            seconds=7
        )
    finally:
        database.close()
