"""What operators see and may do: metrics (read by Prometheus' own parser), state, work of all."""

from __future__ import annotations

import json
import logging
import os
from collections.abc import Callable

import httpx
import pytest
from prometheus_client.parser import text_string_to_metric_families

from models.contract.errors import DecoderStopped, NotAVideo, WorkerCrashed
from models.contract.vocabulary import AnalysisStatus, WorkKind
from service.core.logs import configure_logging, log_about
from service.core.principal import Scope
from service.core.tables import Work
from service.core.wiring import Wiring
from tests.integration.api.conftest import assert_problem, complete


def scraped(client: httpx.Client) -> dict[tuple[str, tuple[str, ...]], float]:
    """Return all samples, by name and values of labels."""
    reply = client.get("/metrics")
    assert reply.status_code == 200
    assert reply.headers["content-type"].startswith("text/plain; version=")
    return {
        (sample.name, tuple(sample.labels.values())): sample.value
        for family in text_string_to_metric_families(reply.text)
        for sample in family.samples
    }


def test_metrics_tell_what_waits_and_what_was_done(
    client: httpx.Client, wired: Wiring, analysis_id: str
) -> None:
    client.post("/v1/webhook-endpoints", json={"url": "https://hooks.example.org/a"})
    with wired.database.write() as session:
        row = session.get_one(Work, analysis_id)
        row.queued_at = wired.database.now(session).replace(year=2020)
    found = scraped(client)
    assert found["servewright_queue_depth", ("long",)] == 1
    assert found["servewright_queue_listed", ("long",)] == 1
    assert found["servewright_queue_depth", ("short",)] == 0
    assert found["servewright_queue_oldest_seconds", ("long",)] > 1e8
    assert found["servewright_work_running", ("long",)] == 0
    assert found["servewright_redis_up", ()] == 1
    assert found["servewright_webhook_deliveries_pending", ()] == 0
    assert found["servewright_erasures_under_way", ()] == 0
    answers = "servewright_http_answers_total"
    assert found[answers, ("POST", "/v1/analyses", "201")] == 1
    assert not any(analysis_id in repr(key) for key in found), "routes, not paths"

    complete(wired, analysis_id)
    wired.tallies.add(
        {("attempts", "analysis", "completed"): 1, ("stage_seconds", "analysis", "pose"): 2.5}
    )
    wired.tallies.add({("stage_seconds", "analysis", "pose"): 1.5})
    found = scraped(client)
    assert found["servewright_queue_depth", ("long",)] == 0
    assert found["servewright_webhook_deliveries_pending", ()] == 1
    assert found["servewright_webhook_lag_seconds", ()] >= 0
    assert found["servewright_attempts_total", ("analysis", "completed")] == 1
    assert found["servewright_stage_seconds_total", ("analysis", "pose")] == 4.0


def test_a_lapsed_lease_shows(client: httpx.Client, wired: Wiring, analysis_id: str) -> None:
    wired.work.claim(WorkKind.ANALYSIS, analysis_id, 1, "w")
    with wired.database.write() as session:
        row = session.get_one(Work, analysis_id)
        row.lease_until = wired.database.now(session).replace(year=2020)
    found = scraped(client)
    assert found["servewright_work_running", ("long",)] == 1
    assert found["servewright_leases_lapsed", ("long",)] == 1


@pytest.mark.parametrize("path", ["/metrics", "/v1/operations/state", "/v1/operations/work"])
def test_only_those_who_run_the_installation_see_it(
    client: httpx.Client, as_key: Callable[..., dict[str, str]], path: str
) -> None:
    assert client.get(path).status_code == 200
    assert_problem(client.get(path, headers={"authorization": "none"}), 401, "unauthenticated")
    reader = as_key(Scope.RESULTS_READ)
    assert_problem(client.get(path, headers=reader), 403, "forbidden")
    other = as_key(Scope.ADMIN, tenant="other")
    assert_problem(client.get(path, headers=other), 403, "forbidden")


def test_state_names_queues_and_workers(
    client: httpx.Client, wired: Wiring, analysis_id: str
) -> None:
    name = wired.queue.name
    wired.queue.connection.sadd(f"rq:workers:{name}", "rq:worker:one")
    wired.queue.connection.hset(
        "rq:worker:one",
        mapping={
            "state": "busy",
            "current_job": f"{analysis_id}-1",
            "hostname": "court-3",
            "pid": str(os.getpid()),
            "last_heartbeat": "2026-05-04T10:00:00.000000Z",
        },
    )
    try:
        state = client.get("/v1/operations/state").json()
    finally:
        wired.queue.connection.delete("rq:worker:one", f"rq:workers:{name}")
    assert [(one["lane"], one["queued"], one["in_redis"]) for one in state["queues"]] == [
        ("long", 1, 1),
        ("short", 0, 0),
    ]
    (worker,) = state["workers"]
    assert (worker["host"], worker["busy"], worker["work_id"]) == ("court-3", True, analysis_id)


def test_work_of_all_organisations_is_listed_and_cancelled(
    client: httpx.Client, wired: Wiring, as_key: Callable[..., dict[str, str]], analysis_id: str
) -> None:
    other = as_key(Scope.ADMIN, tenant="other")
    film = b"\x00\x00\x00\x18ftypisom\x00\x00\x02\x00isomiso2other"
    clip = client.post("/v1/clips", files={"file": ("a.mp4", film)}, headers=other).json()
    theirs = client.post("/v1/analyses", json={"clip_id": clip["id"]}, headers=other).json()["id"]
    first = client.get("/v1/operations/work", params={"limit": 1}).json()
    assert [one["id"] for one in first["items"]] == [theirs]
    assert first["items"][0]["organisation_id"] == "other"
    rest = client.get("/v1/operations/work", params={"limit": 1, "cursor": first["next_cursor"]})
    assert [one["id"] for one in rest.json()["items"]] == [analysis_id]
    narrowed = client.get("/v1/operations/work", params={"status": "running"}).json()
    assert narrowed["items"] == []

    cancelled = client.post(first["items"][0]["links"]["cancel"]).json()
    assert cancelled["status"] == "cancelled"
    assert not wired.queue.is_known(theirs, 1)
    assert client.get(f"/v1/analyses/{theirs}", headers=other).json()["status"] == "cancelled"
    again = client.post(f"/v1/operations/work/{theirs}/cancel")
    assert again.json()["status"] == "cancelled"


def test_what_the_installation_failed_is_tried_again(
    client: httpx.Client, wired: Wiring, analysis_id: str
) -> None:
    wired.work.claim(WorkKind.ANALYSIS, analysis_id, 1, "w")
    wired.work.fail(analysis_id, 1, DecoderStopped())
    here = f"/v1/operations/work/{analysis_id}"
    assert client.get(here).json()["problem_code"] == "decoder_stopped"
    again = client.post(f"{here}/try-again").json()
    assert (again["status"], again["attempt"], again["crashes"]) == ("queued", 2, 0)
    assert wired.queue.is_known(analysis_id, 2)
    seen = client.get(f"/v1/analyses/{analysis_id}").json()
    assert (seen["status"], seen.get("problem")) == ("queued", None)
    assert wired.work.claim(WorkKind.ANALYSIS, analysis_id, 2, "w").attempt == 2
    assert_problem(client.post(f"{here}/try-again"), 409, "not_tried_again")


@pytest.mark.parametrize("error", [NotAVideo(), WorkerCrashed()])
def test_what_the_film_failed_is_not(
    client: httpx.Client, wired: Wiring, analysis_id: str, error: NotAVideo | WorkerCrashed
) -> None:
    wired.work.claim(WorkKind.ANALYSIS, analysis_id, 1, "w")
    wired.work.fail(analysis_id, 1, error)
    reply = client.post(f"/v1/operations/work/{analysis_id}/try-again")
    assert reply.status_code == (200 if isinstance(error, WorkerCrashed) else 409)
    if reply.status_code == 409:
        assert_problem(reply, 409, "not_tried_again")
    with wired.database.read() as session:
        status = session.get_one(Work, analysis_id).status
    assert (status == AnalysisStatus.QUEUED) is isinstance(error, WorkerCrashed)


def test_json_lines_carry_request_work_and_organisation(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """One object a line (RFC 8259), whatever is in the message."""
    root = logging.getLogger()
    monkeypatch.setattr(root, "handlers", [])
    monkeypatch.setattr(root, "level", root.level)
    configure_logging("info", "json")
    with log_about(request_id="r1"), log_about(work_id="ana_1", tenant_id="main"):
        logging.getLogger("x").warning("two\nlines %s", "ä")
    logging.getLogger("x").info("nothing about it")
    first, second = [json.loads(line) for line in capsys.readouterr().err.splitlines()]
    assert (first["message"], first["level"], first["logger"]) == ("two\nlines ä", "warning", "x")
    assert (first["request_id"], first["work_id"], first["tenant_id"]) == ("r1", "ana_1", "main")
    assert "request_id" not in second


def test_answers_of_the_api_name_request_and_organisation(
    client: httpx.Client, caplog: pytest.LogCaptureFixture
) -> None:
    about = []

    class Taken(logging.Handler):
        def emit(self, record: logging.LogRecord) -> None:
            about.append(getattr(record, "about", {}))

    from service.core.logs import _About

    handler = Taken()
    handler.addFilter(_About())
    logger = logging.getLogger("service.api.middleware")
    logger.addHandler(handler)
    try:
        with caplog.at_level(logging.INFO):
            reply = client.get("/v1/players")
    finally:
        logger.removeHandler(handler)
    assert about[-1]["request_id"] == reply.headers["x-request-id"]
    assert about[-1]["tenant_id"] == "main"
