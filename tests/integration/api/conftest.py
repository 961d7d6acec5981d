"""A whole API in this process, with a key, and films that look like films."""

from __future__ import annotations

import hashlib
import json
import warnings
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import httpx
import numpy as np
import pytest
from fastapi import FastAPI

from models.contract.analysis import Analysis as AnalysisDocument
from models.contract.resources import Events, Metrics
from models.contract.vocabulary import WorkKind
from service.api.app import create_app
from service.core.claims import StoredFile
from service.core.principal import Scope
from service.core.settings import Settings
from service.core.tables import Organisation
from service.core.wiring import Wiring

with warnings.catch_warnings():  # it asks for another HTTP client; this one does
    warnings.simplefilter("ignore")
    from starlette.testclient import TestClient


def film(content: bytes = b"x" * 1000) -> bytes:
    """Return bytes that begin as an MP4 file does: an ftyp box (ISO/IEC 14496-12)."""
    return b"\x00\x00\x00\x18ftypisom\x00\x00\x02\x00isomiso2" + content


def assert_problem(reply: httpx.Response, status: int, code: str) -> dict[str, Any]:
    """Check the one shape of every error (RFC 9457) and return it."""
    assert reply.status_code == status, reply.text
    assert reply.headers["content-type"] == "application/problem+json"
    body: dict[str, Any] = reply.json()
    assert body["code"] == code
    assert body["type"] == f"/problems/{code}"
    assert body["status"] == status
    assert body["title"]
    assert body["detail"]
    assert body["request_id"] == reply.headers["x-request-id"]
    return body


@pytest.fixture
def app(settings: Settings) -> Iterator[FastAPI]:
    made = create_app(settings)
    yield made
    made.state.wiring.close()


@pytest.fixture
def wired(app: FastAPI) -> Wiring:
    found: Wiring = app.state.wiring
    return found


@pytest.fixture
def anonymous(app: FastAPI) -> Iterator[httpx.Client]:
    with TestClient(app, raise_server_exceptions=False) as client:
        yield client


@pytest.fixture
def client(anonymous: httpx.Client, wired: Wiring) -> httpx.Client:
    anonymous.headers["authorization"] = f"Bearer {wired.keys.add('test')}"
    return anonymous


@pytest.fixture
def as_key(wired: Wiring) -> Callable[..., dict[str, str]]:
    """Return a maker of Authorization headers."""

    def make(*scopes: Scope, tenant: str = "main") -> dict[str, str]:
        with wired.database.write() as session:
            if session.get(Organisation, tenant) is None:
                now = wired.database.now(session)
                session.add(
                    Organisation(id=tenant, name=tenant, created_at=now, updated_at=now, limits={})
                )
        return {"authorization": f"Bearer {wired.keys.add('k', scopes, tenant_id=tenant)}"}

    return make


@pytest.fixture
def clip_id(client: httpx.Client) -> str:
    reply = client.post("/v1/clips", files={"file": ("serve.mp4", film(), "video/mp4")})
    assert reply.status_code == 201
    return str(reply.json()["id"])


@pytest.fixture
def analysis_id(client: httpx.Client, clip_id: str) -> str:
    reply = client.post("/v1/analyses", json={"clip_id": clip_id})
    assert reply.status_code == 201
    return str(reply.json()["id"])


def example_result() -> AnalysisDocument:
    """Return a small result: one serve with one metric."""
    return AnalysisDocument.model_validate(
        {
            "clip": {
                "duration_s": 3.6,
                "frame_rate": 60.0,
                "frames": 216,
                "width": 1280,
                "height": 720,
            },
            "view": {"label": "side", "azimuth_deg": 90.5, "azimuth_low": 82, "azimuth_high": 99},
            "handedness": "right",
            "scale": {"metres_per_body_height": 1.83, "source": "given"},
            "usability": {"usable": True},
            "repetitions": [
                {
                    "kind": "serve",
                    "start_s": 0.2,
                    "end_s": 3.1,
                    "confidence": 0.9,
                    "events": {
                        "contact": {
                            "time_s": 2.164,
                            "frame": 130,
                            "uncertainty_s": 0.008,
                            "confidence": 0.97,
                        }
                    },
                    "metrics": [
                        {
                            "key": "front_knee_flexion",
                            "title": "Front knee flexion",
                            "event": "trophy",
                            "value": 74.2,
                            "low": 69.8,
                            "high": 78.6,
                            "unit": "deg",
                            "measurable": True,
                            "reason": None,
                            "method": "kinematic_fit",
                            "reference": None,
                        }
                    ],
                }
            ],
            "engine_version": "0.0.0",
        }
    )


SCHEMAS = {
    "result": "analysis.v2.json",
    "events": "events.v1.json",
    "metrics": "metrics.v2.json",
    "joints": "joints.v2.json",
}


def complete(wired: Wiring, analysis_id: str, attempt: int = 1) -> dict[str, bytes]:
    """Do what a worker does at the end: write the results, then commit. Return the bytes."""
    claim = wired.work.claim(WorkKind.ANALYSIS, analysis_id, attempt, "worker")
    result = example_result()
    from io import BytesIO

    arrays = BytesIO()
    np.savez(arrays, time_s=np.arange(3.0))
    contents = {
        "result": ("result.json", "application/json", result.model_dump_json(by_alias=True)),
        "events": ("events.json", "application/json", Events.of(result).model_dump_json()),
        "metrics": ("metrics.json", "application/json", Metrics.of(result).model_dump_json()),
        "joints": ("joints.json", "application/json", json.dumps({"names": []})),
        "joints.npz": ("joints.npz", "application/octet-stream", arrays.getvalue()),
        "report.html": ("report.html", "text/html; charset=utf-8", "<html>a report</html>"),
        "pictures/contact.png": ("contact.png", "image/png", b"\x89PNG canary picture"),
    }
    artifacts, written = {}, {}
    for name, (file, media_type, content) in contents.items():
        data = content.encode() if isinstance(content, str) else content
        key = f"{claim.result_prefix}/{file}"
        wired.objects.put_bytes(key, data, media_type)
        schema = SCHEMAS.get(name)
        digest = hashlib.sha256(data).hexdigest()
        artifacts[name] = StoredFile(key, digest, len(data), media_type, schema)
        written[name] = data
    wired.work.complete(analysis_id, attempt, artifacts, facts=result.clip, headline={"serves": 1})
    return written


@pytest.fixture
def completed(client: httpx.Client, wired: Wiring, analysis_id: str) -> dict[str, bytes]:
    """Return the bytes of every result of a completed analysis."""
    return complete(wired, analysis_id)


def files_below(folder: Path) -> list[Path]:
    return [path for path in folder.rglob("*") if path.is_file()]
