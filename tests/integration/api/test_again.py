"""An analysis made again from the stored joints, without the film."""

from __future__ import annotations

import hashlib
import json
from typing import Any

import httpx
import pytest

from models.contract.vocabulary import WorkKind
from models.training.guard import frozen
from service.core.claims import StoredFile
from service.core.queue import attempt_at
from service.core.tables import Work
from service.core.wiring import Wiring
from tests.integration.api.coaching import made
from tests.integration.api.conftest import assert_problem
from tests.unit.report.conftest import load
from tests.unit.version_1 import DATA
from workers.jobs import entry
from workers.pipeline.result_files import result_files
from workers.pipeline.run import PipelineResult


@pytest.fixture
def measured(client: httpx.Client, wired: Wiring, clip_id: str) -> str:
    """Return a completed analysis of a rendered serve, with the joints it was made from."""
    options = {"height_m": 1.83, "annotated_film": True}
    body = {"clip_id": clip_id, "options": options, "external_ref": "r"}
    analysis = str(made(client.post("/v1/analyses", json=body))["id"])
    claim = wired.work.claim(WorkKind.ANALYSIS, analysis, 1, "w")
    case = load("right_side")
    files = {}
    for file in result_files(PipelineResult(case.analysis, frozen.load("012"), (None,))):
        key = f"{claim.result_prefix}/{file.path}"
        wired.objects.put_bytes(key, file.data, file.media_type)
        digest = hashlib.sha256(file.data).hexdigest()
        files[file.name] = StoredFile(key, digest, len(file.data), file.media_type, file.schema)
    wired.work.complete(analysis, 1, files)
    return analysis


def again(client: httpx.Client, analysis: str, **headers: str) -> dict[str, Any]:
    return made(client.post(f"/v1/analyses/{analysis}/again", headers=headers))


def test_it_is_measured_without_the_film(
    client: httpx.Client, wired: Wiring, clip_id: str, measured: str
) -> None:
    wired.objects.delete_prefix(f"clips/{clip_id}")
    asked = again(client, measured)
    assert asked["clip_id"] == clip_id
    assert asked["links"]["earlier"] == f"/v1/analyses/{measured}"
    assert (asked["options"]["height_m"], asked["options"]["annotated_film"]) == (1.83, False)
    entry.work(wired, attempt_at(asked["id"], 1))
    body = client.get(asked["links"]["self"]).json()
    assert body["status"] == "completed", body["problem"]
    assert body["pictures"] == []
    result = client.get(body["links"]["result"]).json()
    assert [one["kind"] for one in result["repetitions"]] == ["serve"]
    first = client.get(f"/v1/analyses/{measured}/joints.npz").content
    assert client.get(body["links"]["joints.npz"]).content == first
    assert client.get(body["links"]["report.html"]).status_code == 200


def test_one_of_version_1_is_made_again(client: httpx.Client, wired: Wiring, measured: str) -> None:
    with wired.database.read() as session:
        keys = {n: f["key"] for n, f in session.get_one(Work, measured).artifacts.items()}
    for name, file in (("result", "result.json"), ("joints", "joints.json")):
        wired.objects.put_bytes(keys[name], (DATA / file).read_bytes(), "application/json")
    wired.objects.put_bytes(keys["joints.npz"], frozen.load("001").to_npz(), "application/zip")
    asked = again(client, measured)
    entry.work(wired, attempt_at(asked["id"], 1))
    body = client.get(asked["links"]["self"]).json()
    assert body["status"] == "completed", body["problem"]
    reply = client.get(body["links"]["result"])
    assert '</schemas/analysis.v2.json>; rel="describedby"' in reply.headers["link"]
    codes = {m["reason"]["code"] for m in reply.json()["repetitions"][0]["metrics"] if m["reason"]}
    assert "frame_rate_too_low" in codes


def test_it_stands_by_itself_once_it_is_done(
    client: httpx.Client, wired: Wiring, measured: str
) -> None:
    done, waiting = again(client, measured), again(client, measured)
    entry.work(wired, attempt_at(done["id"], 1))
    assert client.delete(f"/v1/analyses/{measured}").status_code == 202
    assert client.get(f"{done['links']['self']}/result").status_code == 200
    assert_problem(client.get(waiting["links"]["self"]), 404, "not_found")


def test_only_a_completed_analysis_can_be_made_again(
    client: httpx.Client, analysis_id: str
) -> None:
    assert_problem(client.post(f"/v1/analyses/{analysis_id}/again"), 409, "analysis_not_completed")
    missing = f"/v1/analyses/ana_{'0' * 32}/again"
    assert_problem(client.post(missing), 404, "not_found")


def test_a_key_makes_it_once(client: httpx.Client, measured: str) -> None:
    first = again(client, measured, **{"idempotency-key": "k"})
    assert again(client, measured, **{"idempotency-key": "k"})["id"] == first["id"]
    assert json.loads(client.get("/v1/analyses").text)["items"][0]["id"] == first["id"]
