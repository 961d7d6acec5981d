"""Twenty parallel requests with one Idempotency-Key: one effect, twenty equal answers, on every
POST route of the OpenAPI document.
"""

from __future__ import annotations

import json
import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import httpx
from fastapi import FastAPI
from sqlalchemy import func, select

from service.api.middleware import PROTECTED
from service.core.reach import EVERYTHING
from service.core.tables import ApiKey, Base, OutboxEvent
from service.core.wiring import Wiring
from tests.integration.api.coaching import analysed, made, new_clip, new_player, new_session
from tests.integration.api.conftest import film
from tests.integration.api.tus_client import SPOKEN
from tests.unit.report.test_in_browser import spoken

PARALLEL = 20
ENDPOINT = {"url": "https://hooks.example.org/a"}
STEP = {"finding": "weight_not_on_rear_foot", "drill": "hold_loaded"}
Send = Callable[[], httpx.Response]


class Prepared:
    """What the requests are about; one method a route returns the request."""

    def __init__(self, client: httpx.Client, wired: Wiring) -> None:
        self.client, self.wired = client, wired
        self.player = new_player(client)
        self.session = new_session(client, self.player, "baseline", 9)
        self.analysis = analysed(client, wired, self.session)
        self.second = analysed(client, wired, self.session, b"second")

    def post(self, path: str, **said: Any) -> Send:
        headers = {"idempotency-key": "once", **said.pop("headers", {})}
        return lambda: self.client.post(path, headers=headers, **said)

    def made_at(self, path: str, **said: Any) -> str:
        """Make something to act on; return its address."""
        reply = self.client.post(path, **said)
        shown = made(reply, reply.status_code)
        return str(shown.get("links", {}).get("self") or f"{path}/{shown['id']}")

    def request(self, name: str) -> Send:
        """Return the request of an operation."""
        named = {"label": "x", "analyses": [self.analysis]}
        other = {"label": "y", "analyses": [self.second]}
        here = f"/v1/players/{self.player}"
        check = {"analyses": [self.analysis], **STEP}
        bodies: dict[str, tuple[str, Any]] = {
            "start_analysis": (
                "/v1/analyses",
                {"clip_id": new_clip(self.client, None, f"of {name}".encode())},
            ),
            "send_joints": ("/v1/joints", {"width": 640}),
            "create_player": ("/v1/players", {"external_id": "one"}),
            "record_consent": (
                f"{here}/consents",
                {"given_by": "guardian", "name": "n", "version": "1", "text": "yes"},
            ),
            "create_session": (
                f"{here}/sessions",
                {"kind": "baseline", "filmed_at": "2026-05-04T10:00:00Z"},
            ),
            "start_comparison": ("/v1/comparisons", {"first": named, "second": other}),
            "start_progress": (f"{here}/progress", {}),
            "start_plan": (f"{here}/plans", {}),
            "start_drill_check": ("/v1/drill-checks", check),
            "create_webhook_endpoint": ("/v1/webhook-endpoints", ENDPOINT),
            "create_api_key": ("/v1/api-keys", {"name": "k", "scopes": ["admin"]}),
            "create_intake_link": (
                "/v1/intake-links",
                {"label": "club", "consent": {"text": "yes", "version": "1"}},
            ),
            "create_share_link": ("/v1/share-links", {"of": self.analysis}),
            "create_organisation": ("/v1/organisations", {"name": "another club"}),
        }
        if name in bodies:
            path, body = bodies[name]
            return self.post(path, json=body)
        if name == "analyse_again":  # of another film: what is unfinished would hold up the rest
            other = analysed(self.client, self.wired, None, b"again")
            return self.post(f"/v1/analyses/{other}/again")
        if name == "send_clip":
            files = {"file": ("a.mp4", film(b"parallel"), "video/mp4")}
            return self.post("/v1/clips", files=files)
        if name == "cancel_any_work":
            clip = new_clip(self.client, None, b"to be cancelled by the operator")
            work = self.made_at("/v1/analyses", json={"clip_id": clip}).rpartition("/")[2]
            return self.post(f"/v1/operations/work/{work}/cancel")
        if name == "create_upload":
            return self.post("/v1/uploads", headers={**SPOKEN, "upload-length": "5000"})
        if name == "send_voice":
            sound = {"content-type": "audio/wav"}
            return self.post(f"{here}/voices", content=spoken(), headers=sound)
        if name == "send_practice_rules":
            rules = "name: mine\n"
            return self.post(
                "/v1/practice-rules", content=rules, headers={"content-type": "application/yaml"}
            )
        hook = {"url": f"https://hooks.example.org/{name}"}
        acts = {
            "cancel_analysis": (
                "/v1/analyses",
                {"clip_id": new_clip(self.client, None, f"c {name}".encode())},
            ),
            "cancel_comparison": ("/v1/comparisons", {"first": named, "second": other}),
            "cancel_progress": (f"{here}/progress", {}),
            "cancel_plan": (f"{here}/plans", {}),
            "cancel_drill_check": ("/v1/drill-checks", check),
            "rotate_webhook_secret": ("/v1/webhook-endpoints", hook),
            "replay_webhook_events": ("/v1/webhook-endpoints", hook),
            "test_webhook_endpoint": ("/v1/webhook-endpoints", hook),
            "rotate_api_key": ("/v1/api-keys", {"name": "k", "scopes": ["clips:read"]}),
        }
        path, body = acts[name]
        if name == "replay_webhook_events":
            address = self.made_at(path, json=body)
            event = self.client.post(f"{address}/test").json()["event_id"]
            return self.post(f"{address}/replay", json={"event_id": event})
        verb = {"rotate_webhook_secret": "rotate-secret", "rotate_api_key": "rotate"}
        act = verb.get(name, "test" if name == "test_webhook_endpoint" else "cancel")
        return self.post(f"{self.made_at(path, json=body)}/{act}")

    def rows(self) -> int:
        """Return how many rows there are of what requests make."""
        uncounted = ("idempotent_replies", "usage", "secrets", "locks", "deliveries")
        uncounted += ("audit_entries",)  # one a request, whatever it made
        with self.wired.database.read(EVERYTHING) as session:
            return sum(
                session.execute(select(func.count()).select_from(table)).scalar_one()
                for table in Base.metadata.sorted_tables
                if table.name not in uncounted
            )


def side_by_side(send: Send) -> list[httpx.Response]:
    """Send all at the same moment."""
    gate = threading.Barrier(PARALLEL)

    def one(_: int) -> httpx.Response:
        gate.wait(30)
        return send()

    with ThreadPoolExecutor(PARALLEL) as pool:
        return list(pool.map(one, range(PARALLEL)))


def assert_equal(replies: list[httpx.Response], *parts: str) -> None:
    """Check that all answers are alike: status, body (or parts of it), address."""
    shown = set()
    for reply in replies:
        assert reply.status_code < 300, reply.text
        body = reply.json()
        kept = {name: body[name] for name in parts} if parts else body
        address = reply.headers.get("location")
        shown.add(json.dumps([reply.status_code, kept, address], sort_keys=True))
    assert len(shown) == 1, shown


def operations(app: FastAPI) -> list[str]:
    return [
        item["post"]["operationId"]
        for path, item in app.openapi()["paths"].items()
        if path.startswith(PROTECTED) and "post" in item
    ]


MAKES = {
    "cancel": 0,
    "rotate": 0,
    "replay": 0,
    "start": 1,
    "create": 1,
    "record": 1,
    "send": 1,
    "test": 1,
    "analyse": 1,
}
"""Rows that an operation makes, by the first word of its name; organisations come with a key, and
documents with a row an input."""


def test_every_post_route(client: httpx.Client, wired: Wiring, app: FastAPI) -> None:
    prepared = Prepared(client, wired)
    for name in operations(app):
        if name in ("announce_clip", "announce_film_parts", "complete_clip"):
            continue  # in test_direct_uploads: they need another store
        if name == "withdraw_consent":
            continue  # an erasure, as DELETE is: a repeat erases what has come in since
        if name == "try_any_work_again":
            continue  # takes no key: of many at once one puts the work back, the rest hear of it
        send = prepared.request(name)
        before = prepared.rows()
        replies = side_by_side(send)
        assert_equal(replies)
        replayed = [reply for reply in replies if "idempotency-replayed" in reply.headers]
        if not name.startswith("cancel"):  # once cancelled stays cancelled, without a key as well
            assert len(replayed) == PARALLEL - 1, name
        rows = MAKES[name.partition("_")[0]]
        inputs = {"start_comparison": 2, "start_progress": 2, "start_plan": 2}
        more = {"create_organisation": 1, "start_drill_check": 1, "analyse_again": 1, **inputs}
        more["send_joints"] = 1  # the file and its analysis
        assert prepared.rows() - before == rows + more.get(name, 0), name
        assert send().json() == replies[0].json()  # and later


def test_without_a_key_each_is_made(client: httpx.Client, wired: Wiring) -> None:
    """The counts above can fail."""
    prepared = Prepared(client, wired)
    before = prepared.rows()
    body = {"name": "k", "scopes": ["clips:read"]}
    replies = side_by_side(lambda: client.post("/v1/api-keys", json=body))
    assert len({reply.json()["id"] for reply in replies}) == PARALLEL
    assert prepared.rows() - before == PARALLEL


def test_one_joint_file_at_the_same_moment_is_one_clip(client: httpx.Client) -> None:
    files = {"file": ("joints.json", b'{"width": 640}')}
    replies = [made(one) for one in side_by_side(lambda: client.post("/v1/joints", files=files))]
    assert len({one["clip_id"] for one in replies}) == 1
    assert len({one["id"] for one in replies}) == PARALLEL
    [clip] = client.get("/v1/clips").json()["items"]
    assert client.get(clip["links"]["content"]).content == files["file"][1]


def test_the_key_that_was_made_works_and_is_not_stored(client: httpx.Client, wired: Wiring) -> None:
    headers = {"idempotency-key": "once"}
    body = {"name": "k", "scopes": ["clips:read"]}
    shown = client.post("/v1/api-keys", json=body, headers=headers).json()
    key = {"authorization": f"Bearer {shown['key']}"}
    assert client.get("/v1/clips", headers=key).status_code == 200
    with wired.database.read() as session:
        for table in Base.metadata.sorted_tables:
            for row in session.execute(select(table)):
                assert shown["key"].split("_")[2] not in repr(tuple(row))
    # After a rotation the repeat cannot show it, and says so.
    rotated = client.post(f"/v1/api-keys/{shown['id']}/rotate", json={"overlap_hours": 0})
    assert rotated.json()["key"] != shown["key"]
    assert client.get("/v1/clips", headers=key).status_code == 401
    again = client.post("/v1/api-keys", json=body, headers=headers)
    assert again.status_code == 409
    assert again.json()["detail"].startswith("This request made its key before")
    with wired.database.read() as session:
        assert len(session.scalars(select(ApiKey)).all()) == 3  # with the first, and the test's


def test_one_test_event(client: httpx.Client, wired: Wiring) -> None:
    hook = made(client.post("/v1/webhook-endpoints", json=ENDPOINT))["links"]["self"]
    headers = {"idempotency-key": "once"}
    side_by_side(lambda: client.post(f"{hook}/test", headers=headers))
    with wired.database.read() as session:
        assert len(session.scalars(select(OutboxEvent)).all()) == 1
