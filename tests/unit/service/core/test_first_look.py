"""The early verdict and the costs in the database."""

from __future__ import annotations

import json

import pytest
from sqlalchemy import select

from models.contract.analysis import ViewEstimate
from models.contract.clip import ClipFacts, Usability
from models.contract.costs import MeasuredCosts, Step, StepCost
from models.contract.errors import LeaseLost
from models.contract.first_look import FirstLook, LikelyWork
from models.contract.vocabulary import View, WorkKind
from models.contract.webhook import WebhookEvent
from service.core.costs import CostStore
from service.core.tables import OutboxEvent, Work
from service.core.wiring import Wiring
from tests.unit.service.core.test_analyses import queued

VERDICT = FirstLook(
    clip=ClipFacts(duration_s=12.0, frame_rate=60.0, frames=720, width=1920, height=1080),
    view=ViewEstimate(label=View.SIDE, azimuth_deg=91.0),
    usability=Usability(usable=True),
    likely_work=(LikelyWork(start_s=2.0, end_s=6.0),),
)


def events(wiring: Wiring) -> list[WebhookEvent]:
    with wiring.database.read() as session:
        bodies = session.scalars(select(OutboxEvent.body)).all()
    return [WebhookEvent.model_validate(json.loads(body)) for body in bodies]


def stored(wiring: Wiring, analysis_id: str) -> FirstLook | None:
    with wiring.database.read() as session:
        found = session.get_one(Work, analysis_id).first_look
    return None if found is None else FirstLook.model_validate(found)


def test_verdict_and_event_appear_together_while_the_work_goes_on(wiring: Wiring) -> None:
    analysis_id = queued(wiring)
    wiring.work.claim(WorkKind.ANALYSIS, analysis_id, 1, "w1")
    wiring.work.looked(analysis_id, 1, VERDICT)
    assert stored(wiring, analysis_id) == VERDICT
    (event,) = events(wiring)
    assert event.type == "analysis.first_look"
    assert event.data.id == analysis_id
    assert event.data.status == "running"
    assert event.data.headline["usable"] is True
    assert event.data.headline["likely_work"] == 1
    assert event.data.headline["view"] == "side"


def test_a_second_attempt_tells_nothing_twice(wiring: Wiring) -> None:
    analysis_id = queued(wiring)
    wiring.work.claim(WorkKind.ANALYSIS, analysis_id, 1, "w1")
    wiring.work.looked(analysis_id, 1, VERDICT)
    wiring.work.release(analysis_id, 1)
    wiring.work.claim(WorkKind.ANALYSIS, analysis_id, 2, "w2")
    wiring.work.looked(analysis_id, 2, VERDICT.model_copy(update={"likely_work": ()}))
    assert stored(wiring, analysis_id) == VERDICT
    assert len(events(wiring)) == 1


def test_a_worker_that_lost_the_work_cannot_tell(wiring: Wiring) -> None:
    analysis_id = queued(wiring)
    wiring.work.claim(WorkKind.ANALYSIS, analysis_id, 1, "w1")
    wiring.work.release(analysis_id, 1)
    wiring.work.claim(WorkKind.ANALYSIS, analysis_id, 2, "w2")
    with pytest.raises(LeaseLost):
        wiring.work.looked(analysis_id, 1, VERDICT)
    assert stored(wiring, analysis_id) is None
    assert events(wiring) == []


def test_costs_are_kept_for_each_machine(wiring: Wiring) -> None:
    here, there = CostStore(wiring.database, "here"), CostStore(wiring.database, "there")
    assert here.read() == MeasuredCosts()
    run = {Step.CLOSE_LOOK: StepCost(seconds=4.0, units=100.0, film_s=10.0)}
    here.learn(run)
    here.learn(run)
    assert here.read() == MeasuredCosts().with_run(run).with_run(run)
    assert here.read().expected_s(Step.CLOSE_LOOK, 10.0, 50.0) == pytest.approx(2.0)
    assert there.read() == MeasuredCosts()
