"""Direct uploads by S3: announced, sent past the API, checked, made ready."""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import boto3
import httpx
import pytest
from sqlalchemy import update

from service.core.settings import Settings
from service.core.tables import Clip
from service.core.wiring import Wiring
from tests.integration.api.conftest import assert_problem, film
from tests.integration.api.test_parallel_repeats import assert_equal, side_by_side


@pytest.fixture
def bucket(s3_server: str) -> Iterator[Any]:
    client = boto3.resource(
        "s3",
        endpoint_url=s3_server,
        region_name="us-east-1",
        aws_access_key_id="test",
        aws_secret_access_key="test",
    )
    bucket = client.create_bucket(Bucket=f"b{secrets.token_hex(6)}")
    yield bucket
    bucket.objects.delete()
    bucket.delete()


@pytest.fixture
def settings(settings: Settings, s3_server: str, bucket: Any) -> Settings:
    values = {
        "object_store": "s3",
        "s3_bucket": bucket.name,
        "s3_endpoint_url": s3_server,
        "s3_access_key_id": "test",
        "s3_secret_access_key": "test",
    }
    return Settings.model_validate({**settings.model_dump(), **values})


def announce(client: httpx.Client, content: bytes, **more: Any) -> dict[str, Any]:
    body = {"size_bytes": len(content), "sha256": hashlib.sha256(content).hexdigest(), **more}
    reply = client.post("/v1/clips/direct", json=body)
    assert reply.status_code == 201, reply.text
    plan: dict[str, Any] = reply.json()
    return plan


def send(plan: dict[str, Any], content: bytes) -> None:
    """Send the form as a browser would, past the API."""
    reply = httpx.post(plan["url"], data=plan["fields"], files={"file": ("f", content)})
    assert reply.status_code in (200, 201, 204), reply.text


def test_announce_send_complete(client: httpx.Client, bucket: Any) -> None:
    content = film(b"direct" * 1000)
    plan = announce(client, content, external_ref="court 1")
    clip = plan["clip"]
    assert clip["state"] == "uploading"
    assert_problem(client.post(plan["links"]["complete"]), 409, "film_not_arrived")
    assert_problem(
        client.post("/v1/analyses", json={"clip_id": clip["id"]}), 409, "upload_not_complete"
    )
    assert_problem(client.get(f"/v1/clips/{clip['id']}/content"), 409, "upload_not_complete")
    send(plan, content)
    done = client.post(plan["links"]["complete"])
    assert done.status_code == 200
    assert done.json()["state"] == "ready"
    assert done.json()["media_type"] == "video/mp4"
    assert client.get(f"/v1/clips/{clip['id']}/content").content == content
    assert client.post(plan["links"]["complete"]).json() == done.json()
    assert client.post("/v1/analyses", json={"clip_id": clip["id"]}).status_code == 201
    assert [item.key for item in bucket.objects.all()] == [f"clips/{clip['id']}/film"]
    # the form is still valid; what it writes now is not what is analysed
    send(plan, film(b"other!" * 1000))
    assert client.get(f"/v1/clips/{clip['id']}/content").content == content
    assert client.delete(f"/v1/clips/{clip['id']}").status_code == 202
    assert list(bucket.objects.all()) == []


@pytest.mark.parametrize(
    ("sent", "code"),
    [(film(b"y" * 100), "digest_mismatch"), (film(b"short"), "digest_mismatch")],
)
def test_other_bytes_than_announced(client: httpx.Client, sent: bytes, code: str) -> None:
    content = film(b"x" * 100)
    plan = announce(client, content)
    send(plan, sent)
    assert_problem(client.post(plan["links"]["complete"]), 422, code)
    assert_problem(client.post(plan["links"]["complete"]), 409, "film_not_arrived")  # was removed
    send(plan, content)
    assert client.post(plan["links"]["complete"]).status_code == 200


def test_what_is_not_a_film(client: httpx.Client) -> None:
    content = b"not a film at all" * 10
    plan = announce(client, content)
    send(plan, content)
    assert_problem(client.post(plan["links"]["complete"]), 422, "not_a_video")


def test_film_that_is_there_already(client: httpx.Client, bucket: Any) -> None:
    content = film(b"z" * 50)
    first = client.post("/v1/clips", content=content, headers={"content-type": "video/mp4"})
    plan = announce(client, content)
    send(plan, content)
    done = client.post(plan["links"]["complete"])
    assert done.json()["id"] == first.json()["id"]
    assert_problem(client.get(f"/v1/clips/{plan['clip']['id']}"), 404, "not_found")
    assert len(list(bucket.objects.all())) == 1


def test_announced_size_over_the_limit(client: httpx.Client, settings: Settings) -> None:
    body = {"size_bytes": settings.max_clip_bytes + 1, "sha256": "0" * 64}
    assert_problem(client.post("/v1/clips/direct", json=body), 413, "clip_too_large")


def test_announcement_may_be_repeated(client: httpx.Client, wired: Wiring) -> None:
    body = {"size_bytes": 100, "sha256": "0" * 64}
    headers = {"idempotency-key": "k"}
    first = client.post("/v1/clips/direct", json=body, headers=headers)
    again = client.post("/v1/clips/direct", json=body, headers=headers)
    assert first.json()["clip"] == again.json()["clip"]
    assert len(client.get("/v1/clips").json()["items"]) == 1


def test_announced_and_never_completed_is_forgotten(
    client: httpx.Client, wired: Wiring, bucket: Any
) -> None:
    content = film(b"x" * 100)
    kept = announce(client, film(b"y" * 100))
    plan = announce(client, content)
    send(plan, content)
    clip_id = plan["clip"]["id"]
    wired.reconciler().run_once()
    assert client.get(f"/v1/clips/{clip_id}").status_code == 200
    with wired.database.write() as session:
        long_ago = wired.database.now(session) - timedelta(days=2)
        session.execute(update(Clip).where(Clip.id == clip_id).values(created_at=long_ago))
    wired.reconciler().run_once()
    assert_problem(client.get(f"/v1/clips/{clip_id}"), 404, "not_found")
    assert client.get(f"/v1/clips/{kept['clip']['id']}").status_code == 200
    assert list(bucket.objects.all()) == []


def test_parallel_repeats_announce_and_complete_once(client: httpx.Client) -> None:
    content = film(b"direct" * 1000)
    body = {"size_bytes": len(content), "sha256": hashlib.sha256(content).hexdigest()}
    headers = {"idempotency-key": "once"}
    replies = side_by_side(lambda: client.post("/v1/clips/direct", json=body, headers=headers))
    assert_equal(replies, "clip", "links", "url")  # what is signed bears the second it was signed
    plan = announce(client, film(b"another" * 1000))
    send(plan, film(b"another" * 1000))
    assert_equal(side_by_side(lambda: client.post(plan["links"]["complete"], headers=headers)))


def test_analysis_when_a_direct_upload_is_complete(client: httpx.Client, wired: Wiring) -> None:
    content = film(b"analysed" * 100)
    plan = announce(client, content, analyse={"height_m": 1.75})
    assert "analysis" not in plan["clip"]["links"]
    send(plan, content)
    done = client.post(plan["links"]["complete"]).json()
    analysis = client.get(done["links"]["analysis"]).json()
    assert (analysis["clip_id"], analysis["status"]) == (done["id"], "queued")
    assert analysis["options"]["height_m"] == 1.75
    assert client.post(plan["links"]["complete"]).json() == done
