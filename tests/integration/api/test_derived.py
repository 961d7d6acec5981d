"""Comparisons, progress, plans and drill checks: asked for, made by a job, fetched."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import httpx
import pytest
from sqlalchemy import select

from models.contract.plan import DrillOutcome, PracticePlan
from models.contract.progress import Progress
from models.contract.vocabulary import WorkKind
from models.contract.webhook import WebhookEvent
from service.core.principal import Scope
from service.core.queue import attempt_at
from service.core.tables import OutboxEvent
from service.core.wiring import Wiring
from tests.integration.api.coaching import NOW, analysed, made, new_clip, new_player, new_session
from tests.integration.api.conftest import assert_problem
from workers.jobs import entry

CHECK = {"finding": "weight_not_on_rear_foot", "drill": "hold_loaded"}


def done(client: httpx.Client, wired: Wiring, resource: dict[str, Any]) -> dict[str, Any]:
    """Run the job of a document; return the completed resource."""
    assert wired.queue.is_known(resource["id"], 1)
    entry.work(wired, attempt_at(resource["id"], 1))
    body = made(client.get(resource["links"]["self"]), 200)
    assert body["status"] == "completed", body["problem"]
    return body


def events(wired: Wiring, prefix: str) -> list[WebhookEvent]:
    with wired.database.read() as session:
        bodies = session.scalars(
            select(OutboxEvent.body).where(OutboxEvent.type.startswith(prefix))
        )
        return [WebhookEvent.model_validate(json.loads(body)) for body in bodies]


def test_progress_over_sessions(client: httpx.Client, wired: Wiring) -> None:
    player = new_player(client)
    for kind, days in (("baseline", 9), ("acquisition", 8), ("retention", 1)):
        session = new_session(client, player, kind, days)
        analysed(client, wired, session, kind.encode())
    asked = made(client.post(f"/v1/players/{player}/progress", json={}))
    assert asked["status"] == "queued"
    assert len(asked["analyses"]) == 3
    early = client.get(f"{asked['links']['self']}/result")
    assert_problem(early, 409, "work_not_ended")
    body = done(client, wired, asked)
    reply = client.get(body["links"]["result"])
    document = Progress.model_validate_json(reply.content)
    assert [point.kind for point in document.metrics[0].series] == [
        "baseline",
        "acquisition",
        "retention",
    ]
    assert document.player == "member-1"
    assert '</schemas/progress.v3.json>; rel="describedby"' in reply.headers["link"]
    tag = {"if-none-match": reply.headers["etag"]}
    assert client.get(body["links"]["result"], headers=tag).status_code == 304
    page = client.get(body["links"]["report.html"])
    assert page.headers["content-type"].startswith("text/html")
    assert "default-src 'none'" in page.headers["content-security-policy"]
    assert "<html" in page.text
    (event,) = events(wired, "progress.")
    assert (event.type, event.data.id, event.data.player_id) == (
        "progress.completed",
        body["id"],
        player,
    )
    assert event.data.links["report.html"] == body["links"]["report.html"]
    listed = client.get(f"/v1/players/{player}/progress").json()["items"]
    assert listed == [body]


def test_plan_then_check_of_its_next_drill(client: httpx.Client, wired: Wiring) -> None:
    player = new_player(client)
    analysed(client, wired, new_session(client, player, "baseline", 2))
    asked = made(client.post(f"/v1/players/{player}/plans", json={"done": ["hold_loaded"]}))
    plan = done(client, wired, asked)
    document = PracticePlan.model_validate_json(client.get(plan["links"]["result"]).content)
    assert document.rules == "Servewright shipped rules 1"
    assert plan["headline"]["focus"] is None  # the example serve has nothing to work on
    held = analysed(
        client, wired, new_session(client, player, "acquisition", 1, drill_stage="hold"), b"hold"
    )
    body = {"plan_id": plan["id"], "analyses": [held]}
    assert_problem(client.post("/v1/drill-checks", json=body), 409, "plan_without_step")
    checked = done(client, wired, made(client.post("/v1/drill-checks", json=body | CHECK)))
    outcome = DrillOutcome.model_validate_json(client.get(checked["links"]["result"]).content)
    assert (outcome.drill, outcome.decision) == ("hold_loaded", "film_again")  # it shows a serve
    assert checked["headline"]["decision"] == "film_again"
    assert checked["player_id"] == player
    assert [e.type for e in events(wired, "drill_check")] == ["drill_check.completed"]


@pytest.mark.parametrize(
    ("wrong", "status", "code"),
    [
        ({}, 422, "invalid_request"),
        ({"finding": "nothing", "drill": "hold_loaded"}, 422, "invalid_request"),
        ({"finding": "contact_low", "drill": "hold_loaded"}, 422, "invalid_request"),
        (CHECK | {"rules_id": "rul_" + "0" * 32}, 404, "not_found"),
        ({"plan_id": "pln_" + "0" * 32}, 404, "not_found"),
    ],
)
def test_drill_that_is_not_named_well_is_refused(
    client: httpx.Client, wired: Wiring, wrong: dict[str, Any], status: int, code: str
) -> None:
    body = {"analyses": [analysed(client, wired, None)], **wrong}
    assert_problem(client.post("/v1/drill-checks", json=body), status, code)


def test_comparison_names_its_sides(client: httpx.Client, wired: Wiring) -> None:
    player = new_player(client)
    before = new_session(client, player, "baseline", 9)
    first = [analysed(client, wired, before, bytes([number])) for number in (1, 2)]
    after = analysed(client, wired, new_session(client, player, "acquisition", 8), b"after")
    body = {
        "first": {"label": "before", "sessions": [before]},
        "second": {"label": "after", "analyses": [after]},
        "focus": ["rear_foot_load_share@loading"],
    }
    asked = made(client.post("/v1/comparisons", json=body, headers={"idempotency-key": "k"}))
    assert asked["analyses"] == [*first, after]
    assert asked["player_id"] == player
    again = client.post("/v1/comparisons", json=body, headers={"idempotency-key": "k"})
    assert again.json()["id"] == asked["id"]
    claim = wired.work.claim(WorkKind.COMPARISON, asked["id"], 1, "worker")
    assert [one.side for one in claim.inputs] == ["first", "first", "second"]
    assert claim.request["labels"] == {"first": "before", "second": "after"}
    assert claim.request["focus"] == ["rear_foot_load_share@loading"]
    wrong = body | {"focus": ["rear_foot_load"]}
    problem = assert_problem(client.post("/v1/comparisons", json=wrong), 422, "invalid_request")
    assert [error["pointer"] for error in problem["errors"]] == ["/focus/0"]
    assert "Near to it: rear_foot_load_share" in problem["errors"][0]["detail"]
    assert claim.inputs[0].session_kind == "baseline"
    cancelled = client.post(f"{asked['links']['self']}/cancel")
    assert made(cancelled, 200)["status"] == "cancelled"
    assert_problem(client.get(f"/v1/comparisons/{asked['id']}/result"), 409, "work_without_result")
    assert len(client.get("/v1/comparisons", params={"status": "cancelled"}).json()["items"]) == 1
    assert client.get("/v1/comparisons", params={"status": "queued"}).json()["items"] == []


def test_only_the_newest_completed_analysis_of_a_clip_counts(
    client: httpx.Client, wired: Wiring
) -> None:
    player = new_player(client)
    session = new_session(client, player, "baseline", 1)
    analysed(client, wired, session)
    newer = made(client.post("/v1/analyses", json={"clip_id": new_clip_of(client, session)}))["id"]
    address = f"/v1/players/{player}/progress"
    assert_problem(client.post(address, json={}), 409, "analysis_not_ended")  # it has not ended
    from tests.integration.api.conftest import complete

    complete(wired, newer)
    assert made(client.post(address, json={}))["analyses"] == [newer]


def new_clip_of(client: httpx.Client, session: str) -> str:
    return str(client.get("/v1/clips", params={"session_id": session}).json()["items"][0]["id"])


@pytest.mark.parametrize("where", ["progress", "plans"])
def test_nothing_to_work_with(client: httpx.Client, where: str) -> None:
    player = new_player(client)
    new_clip(client, new_session(client, player, "baseline", 1))
    code = {"progress": "no_session_analysed", "plans": "no_session_of_serves"}[where]
    problem = assert_problem(client.post(f"/v1/players/{player}/{where}", json={}), 409, code)
    assert problem["about"] == player
    missing = client.post(f"/v1/players/ply_{'0' * 32}/{where}", json={})
    assert_problem(missing, 404, "not_found")


def test_material_must_be_there_and_of_the_tenant(
    client: httpx.Client, wired: Wiring, as_key: Callable[..., dict[str, str]]
) -> None:
    analysis = analysed(client, wired, None)
    side = {"label": "a", "analyses": [analysis]}
    stranger = as_key(Scope.ADMIN, tenant="other")
    other = {"label": "b", "analyses": [analysed(client, wired, None, b"another")]}
    body = {"first": side, "second": other}
    assert_problem(client.post("/v1/comparisons", json=body, headers=stranger), 404, "not_found")
    nothing = {"first": side, "second": {"label": "b"}}
    problem = assert_problem(client.post("/v1/comparisons", json=nothing), 422, "invalid_request")
    assert problem["errors"][0]["pointer"] == "/second"
    unfinished = made(
        client.post("/v1/analyses", json={"clip_id": new_clip(client, None, b"other")})
    )["id"]
    waits = {"first": side, "second": {"label": "b", "analyses": [unfinished]}}
    assert_problem(client.post("/v1/comparisons", json=waits), 409, "analysis_not_completed")
    asked = made(client.post("/v1/comparisons", json=body))
    assert_problem(client.get(asked["links"]["self"], headers=stranger), 404, "not_found")


def test_plan_of_another_players_serves_is_refused(client: httpx.Client, wired: Wiring) -> None:
    mine, other = new_player(client, "a"), new_player(client, "b")
    theirs = analysed(client, wired, new_session(client, other, "baseline", 1))
    reply = client.post(f"/v1/players/{mine}/plans", json={"analyses": [theirs]})
    assert_problem(reply, 409, "other_players_analyses")
    plan = made(client.post(f"/v1/players/{other}/plans", json={}))
    elsewhere = f"/v1/players/{mine}/plans/{plan['id']}"
    assert_problem(client.get(elsewhere), 404, "not_found")


def test_minor_player_brings_cautions_into_every_document(
    client: httpx.Client, wired: Wiring
) -> None:
    player = new_player(client, birth_year=NOW.year - 13)
    session = new_session(client, player, "baseline", 1)
    clip = new_clip(client, session)
    analysis = made(client.post("/v1/analyses", json={"clip_id": clip}))["id"]
    assert wired.work.claim(WorkKind.ANALYSIS, analysis, 1, "w").minor is True
    analysed(client, wired, session, b"another")
    client.post(f"/v1/analyses/{analysis}/cancel")
    body = done(client, wired, made(client.post(f"/v1/players/{player}/plans", json={})))
    document = client.get(body["links"]["result"]).json()
    assert any("under 18" in caution["text"] for caution in document["cautions"])
    assert "under 18" in client.get(body["links"]["report.html"]).text


def test_results_that_were_lost_are_a_typed_failure(client: httpx.Client, wired: Wiring) -> None:
    """The bytes of a result that is no result: the job fails with a problem, not silently."""
    player = new_player(client)
    analysed(client, wired, new_session(client, player, "baseline", 1))
    for info in list(wired.objects.list("analyses")):
        if info.key.endswith("result.json"):
            wired.objects.put_bytes(info.key, b"{}", "application/json")
    asked = made(client.post(f"/v1/players/{player}/plans", json={}))
    entry.work(wired, attempt_at(asked["id"], 1))
    body = client.get(asked["links"]["self"]).json()
    assert (body["status"], body["problem"]["code"]) == ("failed", "invalid_request")
    assert body["problem"]["detail_code"] == "result_of_other_version"
    assert [e.type for e in events(wired, "plan.")] == ["plan.failed"]


def test_an_analysis_on_both_sides_is_refused(client: httpx.Client, wired: Wiring) -> None:
    session = new_session(client, new_player(client), "baseline", 1)
    analysis = analysed(client, wired, session)
    body = {
        "first": {"label": "a", "sessions": [session]},
        "second": {"label": "b", "analyses": [analysis]},
    }
    problem = assert_problem(client.post("/v1/comparisons", json=body), 422, "invalid_request")
    assert problem["errors"][0]["pointer"] == "/second"
    assert problem["parameters"] == {"analysis": analysis}
