"""What one organisation holds: one of every kind, each with a mark in it, and every call on it."""

from __future__ import annotations

import hashlib
import io
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import httpx
from fastapi import FastAPI
from PIL import Image
from sqlalchemy import select

from service.api.middleware import PROTECTED
from service.core.claims import StoredFile
from service.core.kinds import kind_of
from service.core.object_keys import owner_of
from service.core.reach import EVERYTHING
from service.core.tables import ApiKey, Base
from service.core.wiring import Wiring
from tests.integration.api.coaching import analysed, made, new_player, new_session
from tests.integration.api.conftest import film
from tests.integration.api.tus_client import SPOKEN, begin, metadata
from tests.unit.report.test_in_browser import spoken

CANARY = "canary-7f31"
RULES = f"name: {CANARY}\n"
STEP = {"finding": "weight_not_on_rear_foot", "drill": "hold_loaded"}
NOBODY = {"operations", "organisations", "keys", "webhooks", "links"}
"""Tags of what a bound key cannot hold the scope for."""
OF_ALL = {
    "list_practice_rules",
    "read_branding",
    "read_logo",
    "read_practice_rules",
    "read_practice_rule_file",
    "read_shipped_practice_rules",
    "read_words",
}
"""What every key of an organisation may read: it is about nobody."""


def _logo() -> bytes:
    file = io.BytesIO()
    Image.new("RGB", (8, 8)).save(file, "PNG")
    return file.getvalue()


def finish(wired: Wiring, work_id: str) -> None:
    """End a document with one file of every kind, marked."""
    claim = wired.work.claim(kind_of(work_id), work_id, 1, "w")
    artifacts = {}
    for name in ("result", "report.html", "film.mp4", "pictures/contact.png"):
        key = f"{claim.result_prefix}/{name}"
        wired.objects.put_bytes(key, CANARY.encode(), "text/plain")
        digest = hashlib.sha256(CANARY.encode()).hexdigest()
        artifacts[name] = StoredFile(key, digest, len(CANARY), "text/plain")
    wired.work.complete(work_id, 1, artifacts)


@dataclass
class Call:
    """One operation with everything it names put in."""

    operation: str
    tag: str
    method: str
    path: str
    names_others: bool
    body: Any = None
    query: dict[str, str] = field(default_factory=dict)
    headers: dict[str, str] = field(default_factory=lambda: {**SPOKEN, "upload-offset": "0"})


class Story:
    """What one organisation holds: one of every kind, each with a mark in it."""

    def __init__(self, client: httpx.Client, wired: Wiring) -> None:
        self.client, self.wired = client, wired
        self.player = new_player(client, CANARY, notes=CANARY)
        self.session = new_session(client, self.player, "baseline", 9, notes=CANARY)
        later = new_session(client, self.player, "acquisition", 8)
        self.analysis = analysed(client, wired, self.session, CANARY.encode() * 40)
        self.clip = client.get(f"/v1/analyses/{self.analysis}").json()["clip_id"]
        analysed(client, wired, later, b"later")
        gone = made(client.post("/v1/clips", files={"file": ("gone.mp4", film(b"gone"))}))["id"]
        self.erasure = client.delete(f"/v1/clips/{gone}").json()["id"]
        here = f"/v1/players/{self.player}"
        sides = {
            "first": {"label": CANARY, "sessions": [self.session]},
            "second": {"label": "after", "sessions": [later]},
        }
        self.documents = {
            "/v1/players/{player_id}/progress": client.post(f"{here}/progress", json={}),
            "/v1/players/{player_id}/plans": client.post(
                f"{here}/plans", json={"sessions": [self.session]}
            ),
            "/v1/drill-checks": client.post(
                "/v1/drill-checks", json={"analyses": [self.analysis], **STEP}
            ),
            "/v1/comparisons": client.post(
                "/v1/comparisons", json=sides, headers={"idempotency-key": "once"}
            ),
        }
        for reply in self.documents.values():
            finish(wired, made(reply)["id"])
        self.rules = made(
            client.post(
                "/v1/practice-rules",
                content=RULES,
                headers={"content-type": "application/yaml", "idempotency-key": "once"},
            )
        )["id"]
        made(client.put("/v1/branding", json={"name": "Club"}), 200)
        made(client.put("/v1/branding/logo", content=_logo()), 200)
        self.voice = made(client.post(f"{here}/voices", content=spoken()))["id"]
        self.endpoint = made(
            client.post(
                "/v1/webhook-endpoints",
                json={"url": f"https://hooks.example.org/{CANARY}", "description": CANARY},
                headers={"idempotency-key": "once"},
            )
        )["id"]
        hook = f"/v1/webhook-endpoints/{self.endpoint}"
        self.event = client.post(f"{hook}/test").json()["event_id"]
        headers = {"idempotency-key": "once"}
        self.link = self._link(headers)
        shared = client.post("/v1/share-links", json={"of": self.analysis}, headers=headers)
        self.share = made(shared)["id"]
        begun = begin(client, 5000, headers=headers, session_id=self.session, external_ref=CANARY)
        self.upload = made(begun)["id"]
        self.key = made(client.post("/v1/api-keys", json={"name": CANARY, "scopes": ["admin"]}))[
            "id"
        ]

    def _link(self, headers: dict[str, str]) -> str:
        """Make an intake link of the player through which somebody agreed; return its id."""
        consent = {"text": CANARY, "version": "1"}
        body = {"label": CANARY, "player_id": self.player, "consent": consent}
        link = made(self.client.post("/v1/intake-links", json=body, headers=headers))
        given = {"given_by": "guardian", "name": CANARY, "version": "1"}
        made(self.client.post(f"{link['url']}/consents", json=given))
        listed = self.client.get(f"/v1/players/{self.player}/consents").json()["items"]
        self.consent = str(listed[0]["id"])
        return str(link["id"])

    def ids(self) -> dict[str, str]:
        """Return the value of each parameter in a path or query that names a resource."""
        return {
            "clip_id": self.clip,
            "analysis_id": self.analysis,
            "player_id": self.player,
            "session_id": self.session,
            "consent_id": self.consent,
            "kept_id": self.clip,
            "voice_id": self.voice,
            "rules_id": self.rules,
            "endpoint_id": self.endpoint,
            "event_id": self.event,
            "upload_id": self.upload,
            "link_id": self.link,
            "share_id": self.share,
            "key_id": self.key,
            "erasure_id": self.erasure,
            "work_id": self.analysis,
            "organisation_id": "main",
            "language": "de",
        }

    def bodies(self) -> dict[str, tuple[Any, bool]]:
        """Return a body for each operation that takes one, and whether it names what is here."""
        named = {"label": "x", "analyses": [self.analysis]}
        return {
            "start_analysis": ({"clip_id": self.clip}, True),
            "send_joints": ({"width": 640}, True),
            "announce_film_parts": ({"size_bytes": 5, "sha256": "0" * 64}, False),
            "announce_clip": ({"size_bytes": 5, "sha256": "0" * 64}, False),
            "create_player": ({"external_id": "mine"}, False),
            "analyse_again": ({"pictures": False}, True),
            "mark_analysis": ({"role": "model"}, True),
            "put_annotations": (
                {"marks": [{"type": "point", "picture": "serve-1-loading.jpg", "at": [1, 1]}]},
                True,
            ),
            "put_branding": ({"name": "mine"}, False),
            "change_clip": ({"external_ref": "taken"}, True),
            "change_player": ({"notes": "taken"}, True),
            "create_session": ({"kind": "baseline", "filmed_at": "2026-05-04T10:00:00Z"}, True),
            "change_session": ({"notes": "taken"}, True),
            "record_consent": (
                {"given_by": "guardian", "name": "mine", "version": "1", "text": "mine"},
                True,
            ),
            "start_comparison": ({"first": named, "second": named}, True),
            "start_progress": ({}, True),
            "start_plan": ({}, True),
            "start_drill_check": ({"analyses": [self.analysis], **STEP}, True),
            "create_webhook_endpoint": ({"url": "https://hooks.example.org/mine"}, False),
            "change_webhook_endpoint": ({"enabled": False}, True),
            "rotate_webhook_secret": ({}, True),
            "replay_webhook_events": ({"event_id": self.event}, True),
            "create_api_key": (
                {"name": "k", "scopes": ["clips:read"], "player_id": self.player},
                True,
            ),
            "rotate_api_key": ({}, True),
            "create_intake_link": (
                {
                    "label": "mine",
                    "player_id": self.player,
                    "consent": {"text": "mine", "version": "1"},
                },
                True,
            ),
            "create_share_link": ({"of": self.analysis}, True),
            "create_organisation": ({"name": "mine"}, False),
            "change_organisation": ({"name": "mine"}, True),
        }

    def calls(self, app: FastAPI) -> Iterator[Call]:
        """Yield every operation below /v1, naming what is here wherever something can be named."""
        ids, bodies = self.ids(), self.bodies()
        own = {"send_clip", "send_practice_rules"}  # bodies that are no JSON: tried by themselves
        for path, item in app.openapi()["paths"].items():
            if not path.startswith(PROTECTED):
                continue
            for method, operation in item.items():
                name = operation["operationId"]
                if name in own:
                    continue
                values = dict(ids, name="contact.png")
                for collection, reply in self.documents.items():
                    if path.startswith(f"{collection}/"):
                        values["document_id"] = reply.json()["id"]
                address = path.format(**values)
                body, names_others = bodies.get(name, (None, False))
                takes = operation.get("requestBody", {}).get("content", {})
                assert name in bodies or "application/json" not in takes, name
                in_path = [p["name"] for p in operation.get("parameters", ()) if p["in"] == "path"]
                call = Call(
                    operation=name,
                    tag=operation["tags"][0],
                    method=method.upper(),
                    path=address,
                    names_others=names_others or bool(set(in_path) - {"language"}),
                    body=body,
                )
                if name == "create_upload":
                    filed = metadata(session_id=self.session)
                    call.headers |= {"upload-length": "5", "upload-metadata": filed}
                    call.names_others = True
                if name == "send_joints":
                    call.query["session_id"] = self.session
                yield call
                for parameter in operation.get("parameters", ()):
                    if parameter["in"] == "query" and parameter["name"] in ids:
                        query = {parameter["name"]: ids[parameter["name"]]}
                        yield Call(
                            name, call.tag, call.method, address, call.names_others, body, query
                        )

    def held(self) -> dict[str, Any]:
        """Return all that is kept of the first organisation, to see whether anything changed."""
        rows: dict[str, Any] = {}
        with self.wired.database.read(EVERYTHING) as session:
            for table in Base.metadata.sorted_tables:
                # Who reads is noted with its own organisation; keys and sums move by themselves.
                moving = ("api_keys", "usage", "audit_entries")
                if "tenant_id" not in table.c or table.name in moving:
                    continue
                found = session.execute(select(table).where(table.c.tenant_id == "main"))
                rows[table.name] = sorted(repr(row) for row in found)
            keys = session.scalars(select(ApiKey).where(ApiKey.id == self.key)).one()
            rows["key"] = (keys.digest, keys.revoked_at, keys.name)
        rows["objects"] = sorted(
            info.key for info in self.wired.objects.list() if owner_of(info.key) == "main"
        )
        return rows
