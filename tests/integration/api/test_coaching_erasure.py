"""Erasing a clip, a session or a player takes every derived document along."""

from __future__ import annotations

import json

import httpx
import pytest
from sqlalchemy import select

from models.contract.errors import Erased
from models.contract.vocabulary import WorkKind
from service.core.queue import attempt_at
from service.core.settings import Settings
from service.core.tables import OutboxEvent, Work
from service.core.wiring import Wiring
from tests.integration.api.coaching import analysed, made, new_player, new_session
from tests.integration.api.conftest import assert_problem
from tests.integration.api.test_erasure import traces
from workers.jobs import entry

CANARY = "canary-51be20"
MARK = "canary-of-documents-9d41"


class Story:
    """A player with a baseline and a practice session, and one document of each kind."""

    def __init__(self, client: httpx.Client, wired: Wiring) -> None:
        self.player = new_player(client, CANARY, notes=CANARY)
        self.before = new_session(client, self.player, "baseline", 9, notes=CANARY)
        self.after = new_session(client, self.player, "acquisition", 8)
        self.first = analysed(client, wired, self.before, CANARY.encode() * 40)
        self.second = analysed(client, wired, self.after, b"after")
        self.other = analysed(client, wired, None, b"somebody else")
        here = f"/v1/players/{self.player}"
        planned = {"sessions": [self.before], "external_ref": MARK + "-plan"}
        check = {"finding": "weight_not_on_rear_foot", "drill": "hold_loaded"}
        sides = {
            "first": {"label": MARK, "sessions": [self.before]},
            "second": {"label": "after", "sessions": [self.after]},
        }
        asked = [
            client.post(f"{here}/progress", json={"external_ref": MARK}),
            client.post(f"{here}/plans", json=planned),
            client.post("/v1/drill-checks", json={"analyses": [self.first], **check}),
            client.post("/v1/comparisons", json=sides, headers={"idempotency-key": "k"}),
        ]
        self.documents = [made(reply) for reply in asked]
        for document in self.documents[:3]:  # the comparison stays queued
            entry.work(wired, attempt_at(document["id"], 1))
            assert client.get(document["links"]["self"]).json()["status"] == "completed"


def words(story: Story) -> list[str]:
    return [MARK, story.first, *(document["id"] for document in story.documents)]


@pytest.mark.parametrize("what", ["clip", "session", "analysis"])
def test_documents_go_with_what_they_were_made_from(
    client: httpx.Client, wired: Wiring, settings: Settings, what: str
) -> None:
    story = Story(client, wired)
    assert {"work", "work_inputs"} <= set(traces(wired, settings, words(story)))
    clip = client.get(f"/v1/analyses/{story.first}").json()["clip_id"]
    if what == "clip":
        assert client.delete(f"/v1/clips/{clip}").status_code == 202
    elif what == "analysis":
        assert client.delete(f"/v1/analyses/{story.first}").status_code == 202
        assert client.get(f"/v1/clips/{clip}/content").status_code == 200
    else:
        address = f"/v1/players/{story.player}/sessions/{story.before}"
        assert client.delete(address).status_code == 202
    left = traces(wired, settings, words(story))
    assert left == []
    for document in story.documents:
        assert_problem(client.get(document["links"]["self"]), 404, "not_found")
    assert client.get(f"/v1/analyses/{story.second}/result").status_code == 200
    assert not wired.queue.is_known(story.first, 1)
    assert not wired.queue.is_known(story.documents[3]["id"], 1)


def test_nothing_is_left_of_an_erased_player(
    client: httpx.Client, wired: Wiring, settings: Settings
) -> None:
    story = Story(client, wired)
    assert client.delete(f"/v1/players/{story.player}").status_code == 202
    every = [CANARY, *words(story), story.player, story.before, story.after, story.second]
    assert traces(wired, settings, every) == []
    assert client.get(f"/v1/analyses/{story.other}/result").status_code == 200


def test_erasing_one_document_leaves_the_rest(
    client: httpx.Client, wired: Wiring, settings: Settings
) -> None:
    story = Story(client, wired)
    plan = story.documents[1]
    assert client.delete(plan["links"]["self"]).status_code == 202
    assert traces(wired, settings, [MARK + "-plan", plan["id"]]) == []
    assert client.get(story.documents[0]["links"]["self"]).status_code == 200
    assert client.get(f"/v1/analyses/{story.first}/result").status_code == 200


def test_running_job_cannot_bring_a_document_back(
    client: httpx.Client, wired: Wiring, settings: Settings
) -> None:
    story = Story(client, wired)
    comparison = story.documents[3]["id"]
    claim = wired.work.claim(WorkKind.COMPARISON, comparison, 1, "w")
    client.delete(f"/v1/players/{story.player}")
    wired.objects.put_bytes(f"{claim.result_prefix}/result.json", CANARY.encode(), "text/plain")
    with pytest.raises(Erased):
        wired.work.complete(comparison, 1, {})
    wired.reconciler().run_once()
    assert traces(wired, settings, [CANARY]) == []


def test_retention_event_is_written_once_and_goes_with_the_player(
    client: httpx.Client, wired: Wiring
) -> None:
    player = new_player(client)
    new_session(client, player, "baseline", 9)
    practice = new_session(client, player, "acquisition", 7)
    assert wired.reconciler().run_once().reminded == 1
    assert wired.reconciler().run_once().reminded == 0
    with wired.database.read() as session:
        event = session.scalars(select(OutboxEvent)).one()
    body = json.loads(event.body)
    assert body["type"] == "retention.due"
    assert body["data"]["id"] == player
    said = body["data"]["headline"]  # receivers of before read the reason as a sentence
    assert "one week" in said["reason"]
    assert (said["reason_code"], set(said["parameters"])) == ("retention_check_due", {"delay"})
    assert client.delete(f"/v1/players/{player}/sessions/{practice}").status_code == 202
    with wired.database.read() as session:
        assert session.scalars(select(OutboxEvent)).all() == []
        assert session.scalars(select(Work)).all() == []
    again = new_session(client, player, "acquisition", 7)
    assert again
    assert wired.reconciler().run_once().reminded == 1


@pytest.mark.parametrize(("kind", "days"), [("retention", 0.5), ("baseline", 0.5)])
def test_no_reminder_once_the_check_was_filmed(
    client: httpx.Client, wired: Wiring, kind: str, days: float
) -> None:
    player = new_player(client)
    new_session(client, player, "acquisition", 7)
    new_session(client, player, kind, days)
    assert wired.reconciler().run_once().reminded == (0 if kind == "retention" else 1)
