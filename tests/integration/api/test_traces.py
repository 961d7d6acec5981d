"""One trace of an analysis from the caller's request to the webhook, and what it must not hold."""

from __future__ import annotations

import io
import json
import logging
import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import httpx
import pytest
from fastapi import FastAPI
from opentelemetry.proto.collector.trace.v1.trace_service_pb2 import ExportTraceServiceRequest
from opentelemetry.sdk.trace import ReadableSpan
from opentelemetry.sdk.trace.export.in_memory_span_exporter import InMemorySpanExporter
from opentelemetry.trace import SpanKind, StatusCode

from models.contract.errors import ClipDamaged
from service.api.app import create_app
from service.core.logs import configure_logging
from service.core.queue import attempt_at
from service.core.settings import Settings
from service.core.traces import Traces
from service.core.wiring import Wiring, wire
from tests.integration.api.conftest import film
from tests.integration.api.receiver import Receiver, receiving
from tests.unit.pipeline.fakes import FakeClip, stages
from workers.jobs.analysis import analyse
from workers.jobs.attempt import run_attempt
from workers.pipeline.run import StageFunctions

TRACE, CALLER = "4bf92f3577b34da6a3ce929d0e0e4736", "00f067aa0ba902b7"
"""The example of W3C Trace Context (Recommendation, 2021), section 3.2.3."""
TRACEPARENT = f"00-{TRACE}-{CALLER}-01"


class Kept(InMemorySpanExporter):
    """Serves the API and jobs alike: that one of them ends does not end it."""

    def shutdown(self) -> None:
        return


@pytest.fixture
def exporter() -> InMemorySpanExporter:
    return Kept()


@pytest.fixture
def settings(settings: Settings) -> Settings:
    return settings.model_copy(update={"webhook_private_networks": ("127.0.0.0/8",)})


@pytest.fixture
def receiver() -> Iterator[Receiver]:
    with receiving() as server:
        yield server


@pytest.fixture
def app(settings: Settings, exporter: InMemorySpanExporter) -> Iterator[FastAPI]:
    made = create_app(settings, Traces(exporter))
    yield made
    made.state.wiring.close()


def work(settings: Settings, traces: Traces, analysis_id: str, chosen: StageFunctions) -> None:
    """Carry out the first attempt as a job does, with adapters of its own."""
    wiring = wire(settings, traces)
    try:
        run_attempt(
            wiring,
            attempt_at(analysis_id, 1),
            lambda *arguments: analyse(*arguments, lambda _models: chosen),
        )
    finally:
        wiring.close()


def ids(span: ReadableSpan) -> tuple[str, str, str | None]:
    context, parent = span.get_span_context(), span.parent
    assert context is not None
    above = None if parent is None else f"{parent.span_id:016x}"
    return f"{context.trace_id:032x}", f"{context.span_id:016x}", above


def test_one_trace_from_request_to_webhook(
    client: httpx.Client,
    wired: Wiring,
    settings: Settings,
    receiver: Receiver,
    exporter: InMemorySpanExporter,
) -> None:
    client.post("/v1/webhook-endpoints", json={"url": receiver.url + "?for=planted-address"})
    sent = client.post(
        "/v1/clips",
        files={"file": ("planted-file-name.mp4", film(), "video/mp4")},
        data={"external_ref": "planted-ref"},
    )
    asked = client.post(
        "/v1/analyses",
        json={"clip_id": sent.json()["id"], "external_ref": "planted-ref"},
        headers={"traceparent": TRACEPARENT},
    )
    analysis_id = asked.json()["id"]
    client.get("/v1/clips", params={"external_ref": "planted-ref"})
    client.get("/v1/clips/planted-id")
    work(settings, Traces(exporter), analysis_id, stages(FakeClip()))
    assert wired.sender().run_once() == 2
    wired.close()

    everything = exporter.get_finished_spans()
    spans = [span for span in everything if ids(span)[0] == TRACE]
    by_name = {span.name: span for span in spans}
    request, attempt = by_name["POST /v1/analyses"], by_name["analysis attempt"]
    queue, done = by_name["queue"], by_name["webhook analysis.completed"]
    assert request.kind is SpanKind.SERVER
    assert ids(request)[2] == CALLER
    assert ids(queue)[2] == ids(attempt)[2] == ids(request)[1]
    found = [span.name for span in spans if ids(span)[2] == ids(attempt)[1]]
    assert [name for name in found if name.startswith("stage ")] == [
        *("stage probe", "stage pose", "stage serve", "stage pictures", "stage store")
    ]
    assert "webhook analysis.first_look" in found
    assert "webhook analysis.completed" in found
    assert attempt.attributes is not None
    assert attempt.attributes["servewright.outcome"] == "completed"
    assert attempt.attributes["servewright.work_id"] == analysis_id

    # The receiver is told the span that it was called by.
    told = {json.loads(body)["type"]: headers["traceparent"] for headers, body in receiver.got}
    assert told["analysis.completed"] == f"00-{TRACE}-{ids(done)[1]}-01"

    # Ids, kinds, codes and routes alone.
    text = "".join(span.to_json() for span in everything)
    assert "planted" not in text
    assert "127.0.0.1" not in text
    assert "GET /v1/clips/{clip_id}" in text


def test_a_failure_is_a_code(
    settings: Settings,
    analysis_id: str,
    exporter: InMemorySpanExporter,
) -> None:
    error = ClipDamaged("planted text")
    work(settings, Traces(exporter), analysis_id, stages(FakeClip(fail_at=1, error=error)))
    (attempt,) = [one for one in exporter.get_finished_spans() if one.name == "analysis attempt"]
    assert attempt.status.status_code is StatusCode.ERROR
    assert attempt.attributes is not None
    assert attempt.attributes["error.type"] == "clip_damaged"
    assert not attempt.events
    assert "planted" not in attempt.to_json()


def test_log_lines_of_a_job_tell_the_trace(
    client: httpx.Client,
    settings: Settings,
    exporter: InMemorySpanExporter,
    clip_id: str,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    asked = client.post(
        "/v1/analyses", json={"clip_id": clip_id}, headers={"traceparent": TRACEPARENT}
    )
    written = io.StringIO()
    before = logging.getLogger().handlers[:]
    monkeypatch.setattr("sys.stderr", written)
    try:
        configure_logging("info", "json")
        work(settings, Traces(exporter), asked.json()["id"], stages(FakeClip()))
    finally:
        logging.basicConfig(handlers=before, force=True)
    lines = [json.loads(line) for line in written.getvalue().splitlines()]
    ours = [line for line in lines if "completed" in line["message"]]
    assert [line["trace_id"] for line in ours] == [TRACE]
    assert ours[0]["work_id"] == asked.json()["id"]
    assert ours[0]["tenant_id"] == "main"


def test_probes_leave_no_spans(
    client: httpx.Client, wired: Wiring, exporter: InMemorySpanExporter
) -> None:
    for path in ("/livez", "/readyz", "/metrics", "/v1/clips"):
        client.get(path, headers={"traceparent": TRACEPARENT})
    wired.close()
    found = [one.name for one in exporter.get_finished_spans()]
    assert [name for name in found if name.startswith("GET")] == ["GET /v1/clips"]


def test_a_made_up_traceparent_begins_a_trace(
    client: httpx.Client, wired: Wiring, exporter: InMemorySpanExporter
) -> None:
    for text in ("", "00-0-0-00", f"00-{'0' * 32}-{CALLER}-01", "x" * 5000):
        assert client.get("/v1/clips", headers={"traceparent": text}).status_code == 200
    wired.close()
    found = exporter.get_finished_spans()
    assert len({ids(one)[0] for one in found}) == len(found) == 4
    assert all(one.parent is None for one in found)


class _Collector(BaseHTTPRequestHandler):
    def do_POST(self) -> None:
        self.server.got.append(  # type: ignore[attr-defined]
            (self.path, self.rfile.read(int(self.headers["content-length"])))
        )
        self.send_response(200)
        self.send_header("content-length", "0")
        self.end_headers()

    def log_message(self, *args: object) -> None:
        return


def test_a_job_sends_its_spans_before_it_ends(
    settings: Settings,
    wiring: Wiring,
    analysis_id: str,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    collector = ThreadingHTTPServer(("127.0.0.1", 0), _Collector)
    collector.got = []  # type: ignore[attr-defined]
    thread = threading.Thread(target=collector.serve_forever, args=(0.02,), daemon=True)
    thread.start()
    address = f"http://127.0.0.1:{collector.server_address[1]}"
    monkeypatch.setenv("OTEL_EXPORTER_OTLP_ENDPOINT", address)
    try:
        work(settings, Traces(), analysis_id, stages(FakeClip()))
    finally:
        collector.shutdown()
        collector.server_close()
        thread.join()
    names = set()
    for path, body in collector.got:  # type: ignore[attr-defined]
        assert path == "/v1/traces"
        for one in ExportTraceServiceRequest.FromString(body).resource_spans:
            about = {pair.key: pair.value.string_value for pair in one.resource.attributes}
            assert about["service.name"] == "servewright"
            names |= {span.name for scope in one.scope_spans for span in scope.spans}
    assert {"queue", "analysis attempt", "stage pose"} <= names


def test_a_collector_that_is_away_costs_no_result(
    settings: Settings,
    client: httpx.Client,
    analysis_id: str,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("OTEL_EXPORTER_OTLP_ENDPOINT", "http://127.0.0.1:9")
    monkeypatch.setenv("OTEL_EXPORTER_OTLP_TIMEOUT", "1")
    work(settings, Traces(), analysis_id, stages(FakeClip()))
    assert client.get(f"/v1/analyses/{analysis_id}").json()["status"] == "completed"


def test_off_unless_asked_for(
    settings: Settings,
    receiver: Receiver,
) -> None:
    from starlette.testclient import TestClient

    app = create_app(settings)
    wired: Wiring = app.state.wiring
    assert not wired.traces.on
    with TestClient(app) as client:
        client.headers["authorization"] = f"Bearer {wired.keys.add('test')}"
        client.post("/v1/webhook-endpoints", json={"url": receiver.url})
        sent = client.post("/v1/clips", files={"file": ("a.mp4", film(), "video/mp4")})
        asked = client.post(
            "/v1/analyses",
            json={"clip_id": sent.json()["id"]},
            headers={"traceparent": TRACEPARENT},
        )
        work(settings, Traces(), asked.json()["id"], stages(FakeClip()))
        wired.sender().run_once()
    # A caller's trace goes through all the same.
    assert {headers["traceparent"] for headers, _ in receiver.got} == {TRACEPARENT}
