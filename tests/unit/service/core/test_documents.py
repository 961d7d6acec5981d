"""Derived documents as queued work: the same life as an analysis, by the same code."""

from __future__ import annotations

from datetime import timedelta

import pytest
from sqlalchemy import select, update

from models.contract.errors import Conflict, LeaseLost, NotFound
from models.contract.vocabulary import WorkKind
from service.core.kinds import kind_of
from service.core.tables import OutboxEvent, Work, WorkInput
from service.core.wiring import Wiring
from service.core.work import Input
from tests.films import queue_analysis
from tests.unit.service.core.test_analyses import KEY, film, queued


def asked(wiring: Wiring) -> str:
    analysis_id = queued(wiring)
    with wiring.database.write() as session:
        return wiring.work.enter(
            session, KEY, WorkKind.COMPARISON, {"labels": {}}, [Input(analysis_id, "first")]
        ).id


def row(wiring: Wiring, document_id: str) -> Work:
    with wiring.database.read() as session:
        return session.get_one(Work, document_id)


def test_id_tells_the_queue_what_to_run(wiring: Wiring) -> None:
    assert kind_of(queued(wiring)) is WorkKind.ANALYSIS
    document_id = asked(wiring)
    assert kind_of(document_id) is WorkKind.COMPARISON
    wiring.queue.enqueue(document_id, 1)
    assert wiring.queue.is_known(document_id, 1)


def test_claim_is_fenced(wiring: Wiring) -> None:
    document_id = asked(wiring)
    claim = wiring.work.claim(WorkKind.COMPARISON, document_id, 1, "w1")
    assert claim.result_prefix == f"documents/{document_id}/1"
    with pytest.raises(LeaseLost):
        wiring.work.claim(WorkKind.COMPARISON, document_id, 1, "w2")
    with pytest.raises(LeaseLost):
        wiring.work.complete(document_id, 2, {})


def test_three_crashes_fail_it_with_an_event(wiring: Wiring) -> None:
    document_id = asked(wiring)
    with wiring.database.write() as session:
        now = wiring.database.now(session)
        session.execute(update(Work).where(Work.id == document_id).values(queued_at=now))
    for attempt in (1, 2, 3):
        wiring.work.claim(WorkKind.COMPARISON, document_id, attempt, "w")
        with wiring.database.write() as session:
            session.execute(
                update(Work).values(lease_until=wiring.database.now(session) - timedelta(seconds=1))
            )
        wiring.reconciler().run_once()
    found = row(wiring, document_id)
    assert found.status == "failed"
    assert found.problem is not None
    assert found.problem["instance"] == f"/v1/comparisons/{document_id}"
    with wiring.database.read() as session:
        (event,) = session.scalars(select(OutboxEvent)).all()
    assert (event.type, event.work_id) == ("comparison.failed", document_id)


def test_lost_by_the_queue_is_sent_again(wiring: Wiring) -> None:
    document_id = asked(wiring)
    with wiring.database.write() as session:
        old = wiring.database.now(session) - timedelta(minutes=1)
        session.execute(update(Work).where(Work.id == document_id).values(queued_at=old))
    assert wiring.reconciler().run_once().enqueued_again == 1
    assert wiring.queue.is_known(document_id, 1)


def test_ended_work_cannot_be_cancelled(wiring: Wiring) -> None:
    document_id = asked(wiring)
    wiring.work.claim(WorkKind.COMPARISON, document_id, 1, "w")
    wiring.work.complete(document_id, 1, {})
    with pytest.raises(Conflict):
        wiring.work.cancel(KEY, document_id)
    with pytest.raises(NotFound):
        wiring.work.get(KEY, document_id, WorkKind.PLAN)


def test_erasing_the_clip_erases_the_document(wiring: Wiring) -> None:
    clip = film(wiring, "c" * 64)
    analysis_id = queue_analysis(wiring, clip.id)
    with wiring.database.write() as session:
        document = wiring.work.enter(session, KEY, WorkKind.PLAN, {}, [Input(analysis_id)])
    wiring.objects.put_bytes(f"documents/{document.id}/1/result.json", b"x", "application/json")
    wiring.eraser.carry_out(wiring.eraser.clip(KEY, clip.id))
    with wiring.database.read() as session:
        assert session.scalars(select(Work)).all() == []
        assert session.scalars(select(WorkInput)).all() == []
    assert list(wiring.objects.list()) == []
