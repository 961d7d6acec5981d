"""Analyses and their results: progress, links, entity tags, ranges, cancelling."""

from __future__ import annotations

import hashlib

import httpx
import pytest

from models.contract.analysis import Analysis as AnalysisDocument
from models.contract.errors import NoPerson
from models.contract.vocabulary import Stage, WorkKind
from service.core.tables import Work
from service.core.wiring import Wiring
from tests.integration.api.conftest import assert_problem

NAMES = ["result", "joints", "joints.npz", "events", "metrics", "pictures/contact.png"]


def test_progress_of_a_running_analysis(
    client: httpx.Client, wired: Wiring, analysis_id: str
) -> None:
    queued = client.get(f"/v1/analyses/{analysis_id}").json()
    assert (queued["status"], queued["progress"], queued["stage"]) == ("queued", 0.0, None)
    assert wired.queue.is_known(analysis_id, 1)
    wired.work.claim(WorkKind.ANALYSIS, analysis_id, 1, "w")
    wired.work.heartbeat(analysis_id, 1, Stage.POSE, 0.25)
    running = client.get(f"/v1/analyses/{analysis_id}").json()
    assert (running["status"], running["progress"], running["stage"]) == ("running", 0.25, "pose")
    assert running["time_left_s"] is None  # this machine has completed nothing yet
    assert running["first_look"] is None
    wired.work.heartbeat(analysis_id, 1, Stage.POSE, 0.3, 12.5)
    assert client.get(f"/v1/analyses/{analysis_id}").json()["time_left_s"] == 12.5
    assert "result" not in running["links"]
    assert_problem(client.get(f"/v1/analyses/{analysis_id}/result"), 409, "work_not_ended")


def test_completed_analysis_links_to_its_results(
    client: httpx.Client, analysis_id: str, completed: dict[str, bytes]
) -> None:
    body = client.get(f"/v1/analyses/{analysis_id}").json()
    assert body["status"] == "completed"
    assert body["progress"] == 1.0
    assert body["headline"] == {"serves": 1}
    assert body["pictures"] == [f"/v1/analyses/{analysis_id}/pictures/contact.png"]
    assert set(body["links"]) == {
        "self",
        "clip",
        "result",
        "joints",
        "joints.npz",
        "events",
        "metrics",
        "report.html",
        "keeping",
    }
    for name in ("result", "events"):
        assert client.get(body["links"][name]).content == completed[name]
    clip = client.get(body["links"]["clip"]).json()
    assert clip["facts"]["frames"] == 216
    AnalysisDocument.model_validate(client.get(body["links"]["result"]).json())


def test_failed_analysis_says_why(client: httpx.Client, wired: Wiring, analysis_id: str) -> None:
    wired.work.claim(WorkKind.ANALYSIS, analysis_id, 1, "w")
    wired.work.fail(analysis_id, 1, NoPerson(), Stage.POSE)
    body = client.get(f"/v1/analyses/{analysis_id}").json()
    assert body["status"] == "failed"
    assert body["problem"]["code"] == "no_person"
    assert body["problem"]["stage"] == "pose"
    assert_problem(client.get(f"/v1/analyses/{analysis_id}/metrics"), 409, "work_without_result")


def test_strong_tags_and_conditional_requests(
    client: httpx.Client, analysis_id: str, completed: dict[str, bytes]
) -> None:
    client.headers["accept-encoding"] = "identity"
    for name in NAMES:
        address = f"/v1/analyses/{analysis_id}/{name}"
        whole = client.get(address)
        tag = whole.headers["etag"]
        assert whole.content == completed[name]
        assert tag == f'"{hashlib.sha256(completed[name]).hexdigest()}"'
        assert whole.headers["cache-control"].startswith("private")
        assert whole.headers["accept-ranges"] == "bytes"
        for known in (tag, "*", f'"other", {tag}', f"W/{tag}"):
            reply = client.get(address, headers={"if-none-match": known})
            assert reply.status_code == 304
            assert reply.content == b""
            assert reply.headers["etag"] == tag
        assert client.get(address, headers={"if-none-match": '"other"'}).status_code == 200
        reply = client.get(address, headers={"if-match": '"other"'})
        assert_problem(reply, 412, "precondition_failed")
        assert client.get(address, headers={"if-match": tag}).status_code == 200
        head = client.head(address)
        assert head.content == b""
        for header in ("etag", "content-length", "content-type", "cache-control"):
            assert head.headers[header] == whole.headers[header]
    assert (
        '</schemas/metrics.v2.json>; rel="describedby"'
        in client.get(f"/v1/analyses/{analysis_id}/metrics").headers["link"]
    )


@pytest.mark.parametrize(
    ("file", "schema"), [("joints", "joints"), ("result", "analysis"), ("metrics", "metrics")]
)
def test_documents_name_the_version_that_they_were_stored_in(
    client: httpx.Client,
    wired: Wiring,
    analysis_id: str,
    completed: dict[str, bytes],
    file: str,
    schema: str,
) -> None:
    address = f"/v1/analyses/{analysis_id}/{file}"
    assert f'</schemas/{schema}.v2.json>; rel="describedby"' in client.get(address).headers["link"]
    with wired.database.write() as session:
        row = session.get_one(Work, analysis_id)
        stored = {name: dict(facts) for name, facts in row.artifacts.items()}
        for facts in stored.values():  # rows of before have no such key
            del facts["schema"]
        row.artifacts = stored
    earlier = client.get(address)
    assert earlier.content == completed[file]
    assert f'</schemas/{schema}.v1.json>; rel="describedby"' in earlier.headers["link"]


def test_ranges(client: httpx.Client, analysis_id: str, completed: dict[str, bytes]) -> None:
    address, content = f"/v1/analyses/{analysis_id}/joints.npz", completed["joints.npz"]
    size = len(content)
    tag = client.get(address).headers["etag"]
    table = [
        ("bytes=0-0", content[:1], f"bytes 0-0/{size}"),
        ("bytes=10-19", content[10:20], f"bytes 10-19/{size}"),
        ("bytes=10-", content[10:], f"bytes 10-{size - 1}/{size}"),
        ("bytes=-7", content[-7:], f"bytes {size - 7}-{size - 1}/{size}"),
        (f"bytes=-{size * 2}", content, f"bytes 0-{size - 1}/{size}"),
        (f"bytes=5-{size * 2}", content[5:], f"bytes 5-{size - 1}/{size}"),
    ]
    for header, expected, content_range in table:
        for more in ({}, {"if-range": tag}):
            reply = client.get(address, headers={"range": header, **more})
            assert reply.status_code == 206
            assert reply.content == expected
            assert reply.headers["content-range"] == content_range
            assert reply.headers["content-length"] == str(len(expected))
    for ignored in ("bytes=5-4", "bytes=a-b", "lines=1-2", "bytes=", "bytes=0-1,4-5", "bytes=-"):
        reply = client.get(address, headers={"range": ignored})
        assert (reply.status_code, reply.content) == (200, content)
    stale = client.get(address, headers={"range": "bytes=0-1", "if-range": '"old"'})
    assert (stale.status_code, stale.content) == (200, content)
    for beyond in (f"bytes={size}-", f"bytes={size + 5}-{size + 9}", "bytes=-0"):
        reply = client.get(address, headers={"range": beyond})
        assert_problem(reply, 416, "range_not_satisfiable")
        assert reply.headers["content-range"] == f"bytes */{size}"


def test_resources_have_tags_too(client: httpx.Client, wired: Wiring, analysis_id: str) -> None:
    address = f"/v1/analyses/{analysis_id}"
    tag = client.get(address).headers["etag"]
    assert client.get(address, headers={"if-none-match": tag}).status_code == 304
    wired.work.claim(WorkKind.ANALYSIS, analysis_id, 1, "w")
    assert client.get(address, headers={"if-none-match": tag}).status_code == 200


def test_cancel(client: httpx.Client, wired: Wiring, analysis_id: str) -> None:
    address = f"/v1/analyses/{analysis_id}/cancel"
    assert client.post(address).json()["status"] == "cancelled"
    assert client.post(address).json()["status"] == "cancelled"
    assert not wired.queue.is_known(analysis_id, 1)
    assert_problem(client.get(f"/v1/analyses/{analysis_id}/result"), 409, "work_without_result")


def test_what_has_ended_cannot_be_cancelled(
    client: httpx.Client, analysis_id: str, completed: dict[str, bytes]
) -> None:
    assert_problem(client.post(f"/v1/analyses/{analysis_id}/cancel"), 409, "work_ended")


def test_unknown_picture(
    client: httpx.Client, analysis_id: str, completed: dict[str, bytes]
) -> None:
    reply = client.get(f"/v1/analyses/{analysis_id}/pictures/other.png")
    assert_problem(reply, 404, "not_found")
    assert client.get(f"/v1/analyses/{analysis_id}/pictures/..%2fresult.json").status_code in (
        404,
        422,
    )


def test_analysis_is_accepted_while_the_queue_is_away(
    client: httpx.Client, wired: Wiring, clip_id: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    from models.contract.errors import QueueUnavailable

    def away(*args: object) -> None:
        raise QueueUnavailable()

    with monkeypatch.context() as patch:
        patch.setattr(type(wired.queue), "enqueue", away)
        reply = client.post("/v1/analyses", json={"clip_id": clip_id})
    assert reply.status_code == 201
    assert reply.json()["status"] == "queued"


def test_report_is_a_page_that_needs_no_host(
    client: httpx.Client, analysis_id: str, completed: dict[str, bytes]
) -> None:
    reply = client.get(f"/v1/analyses/{analysis_id}/report.html")
    assert reply.content == completed["report.html"]
    assert reply.headers["content-type"] == "text/html; charset=utf-8"
    assert "default-src 'none'" in reply.headers["content-security-policy"]
    missing = client.get(f"/v1/analyses/{analysis_id}/film.mp4")
    assert_problem(missing, 404, "not_found")
