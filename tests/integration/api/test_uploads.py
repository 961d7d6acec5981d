"""Films on their way in: forms, raw bodies, digests, limits, broken bodies, memory."""

from __future__ import annotations

import asyncio
import base64
import hashlib
import io
import threading
import tracemalloc
from collections.abc import AsyncIterator, Iterator

import httpx
import pytest
from fastapi import FastAPI

from service.api.app import create_app
from service.core.objects import ObjectInfo
from service.core.settings import Settings
from service.core.wiring import Wiring
from tests.integration.api.conftest import TestClient, assert_problem, files_below, film

BOUNDARY = "frontier"
FORM = {"content-type": f"multipart/form-data; boundary={BOUNDARY}"}


def part(name: str, content: bytes, extra: str = "") -> bytes:
    head = f'--{BOUNDARY}\r\nContent-Disposition: form-data; name="{name}"{extra}\r\n\r\n'
    return head.encode() + content + b"\r\n"


END = f"--{BOUNDARY}--\r\n".encode()


def sha256(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def test_form_upload_is_stored_whole(client: httpx.Client) -> None:
    content = film(bytes(range(256)) * 20_000)
    reply = client.post(
        "/v1/clips",
        files={"file": ("private name.mp4", content, "text/html")},
        data={"external_ref": "court 3", "sha256": sha256(content)},
    )
    assert reply.status_code == 201
    clip = reply.json()
    assert reply.headers["location"] == f"/v1/clips/{clip['id']}"
    assert clip["sha256"] == sha256(content)
    assert clip["size_bytes"] == len(content)
    assert clip["media_type"] == "video/mp4"  # by content, not by what the header says
    assert clip["external_ref"] == "court 3"
    assert client.get(clip["links"]["content"]).content == content
    assert "private name" not in client.get("/v1/clips").text


def test_raw_upload(client: httpx.Client) -> None:
    content = film()
    reply = client.post(
        "/v1/clips?external_ref=a", content=content, headers={"content-type": "video/mp4"}
    )
    assert reply.status_code == 201
    assert reply.json()["external_ref"] == "a"
    assert reply.json()["sha256"] == sha256(content)


def test_same_film_again_returns_the_clip_that_is_there(
    client: httpx.Client, wired: Wiring, clip_id: str
) -> None:
    again = client.post("/v1/clips", content=film(), headers={"content-type": "video/mp4"})
    assert again.status_code == 200
    assert again.json()["id"] == clip_id
    assert len(list(wired.objects.list())) == 1
    other = {"authorization": f"Bearer {wired.keys.add('another')}"}
    fresh = client.post("/v1/clips", content=film(), headers={"content-type": "video/mp4", **other})
    assert fresh.status_code == 201


@pytest.mark.parametrize("harm", ["lost", "cut short", "other bytes"])
def test_a_stored_film_that_is_lost_is_healed_by_sending_it_again(
    client: httpx.Client, wired: Wiring, clip_id: str, harm: str
) -> None:
    (stored,) = wired.objects.list()
    if harm == "lost":
        wired.objects.delete(stored.key)
        assert client.get(f"/v1/clips/{clip_id}/content").status_code == 404
    else:
        bytes_left = film()[:-1] if harm == "cut short" else film()[:-1] + b"\0"
        wired.objects.put_bytes(stored.key, bytes_left, "video/mp4")
    again = client.post("/v1/clips", content=film(), headers={"content-type": "video/mp4"})
    assert (again.status_code, again.json()["id"]) == (200, clip_id)
    assert client.get(f"/v1/clips/{clip_id}/content").content == film()
    assert len(list(wired.objects.list())) == 1


@pytest.mark.parametrize("field", ["content-digest", "repr-digest"])
def test_digest_field_of_a_raw_body(client: httpx.Client, field: str) -> None:
    content = film()
    right = base64.b64encode(hashlib.sha256(content).digest()).decode()
    wrong = base64.b64encode(hashlib.sha256(b"other").digest()).decode()
    headers = {"content-type": "video/mp4", field: f"sha-512=:AA==:, sha-256=:{wrong}:"}
    assert_problem(
        client.post("/v1/clips", content=content, headers=headers), 422, "digest_mismatch"
    )
    headers[field] = f"sha-256=:{right}:"
    assert client.post("/v1/clips", content=content, headers=headers).status_code == 201
    headers[field] = "sha-256=:c2hvcnQ=:"
    assert_problem(
        client.post("/v1/clips", content=content, headers=headers), 422, "invalid_request"
    )


def test_content_digest_of_a_form_is_that_of_the_body(client: httpx.Client) -> None:
    body = part("file", film(), '; filename="a.mp4"') + END
    good = base64.b64encode(hashlib.sha256(body).digest()).decode()
    headers = {**FORM, "content-digest": f"sha-256=:{good}:"}
    assert client.post("/v1/clips", content=body, headers=headers).status_code == 201
    damaged = body.replace(b"x\r\n--", b"y\r\n--")
    assert_problem(
        client.post("/v1/clips", content=damaged, headers=headers), 422, "digest_mismatch"
    )


def test_wrong_sha256_keeps_nothing(client: httpx.Client, settings: Settings) -> None:
    reply = client.post(
        "/v1/clips", files={"file": ("a", film(), "video/mp4")}, data={"sha256": "0" * 64}
    )
    assert_problem(reply, 422, "digest_mismatch")
    assert files_below(settings.object_dir) == []
    assert client.get("/v1/clips").json()["items"] == []


UNUSABLE_FORMS = [
    (part("file", b""), 422, "not_a_video"),
    (part("file", b"this is a text, not a film. " * 10), 422, "not_a_video"),
    (part("file", b"\x00"), 422, "not_a_video"),
    (part("sha256", b"0" * 64), 422, "invalid_request"),
    (part("file", film()) + part("sha256", b"xyz"), 422, "invalid_request"),
    (part("file", film()) + part("external_ref", b"a\x00b"), 422, "invalid_request"),
    (part("file", film()) + part("external_ref", b"\xff\xfe"), 422, "invalid_request"),
    (part("file", film()) + part("external_ref", b"a" * 2000), 422, "invalid_request"),
    (part("external_ref", b"a") * 2 + part("file", film()), 422, "invalid_request"),
    (part("file", film()) * 2, 422, "invalid_request"),
    (part("file", film()) + part("surprise", b"1"), 422, "invalid_request"),
]


def test_form_that_cannot_be_used(client: httpx.Client, settings: Settings) -> None:
    for body, status, code in UNUSABLE_FORMS:
        reply = client.post("/v1/clips", content=body + END, headers=FORM)
        assert_problem(reply, status, code)
    assert files_below(settings.object_dir) == []


BROKEN_FORMS = [
    b"",
    b"no boundary at all",
    part("file", film()),  # cut before the closing boundary
    part("file", film())[:60],
    f"--{BOUNDARY}\r\nbroken header\r\n\r\n".encode() + END,
    f"--{BOUNDARY}\r\nContent-Type: video/mp4\r\n\r\nx\r\n".encode() + END,
    f"--{BOUNDARY}\r\n".encode() + b"A: b\r\n" * 100 + b"\r\n" + END,
    f"--{BOUNDARY}\r\nA: {'b' * 10_000}\r\n\r\n".encode() + END,
]


def test_broken_multipart(client: httpx.Client, settings: Settings) -> None:
    for body in BROKEN_FORMS:
        reply = client.post("/v1/clips", content=body, headers=FORM)
        assert_problem(reply, 400, "malformed_request")
    assert files_below(settings.object_dir) == []


@pytest.mark.parametrize(
    ("content_type", "status", "code"),
    [
        ("multipart/form-data", 400, "malformed_request"),
        (f"multipart/form-data; boundary={'b' * 71}", 400, "malformed_request"),
        ("application/json", 415, "unsupported_media_type"),
        ("", 415, "unsupported_media_type"),
    ],
)
def test_content_type_of_an_upload(
    client: httpx.Client, content_type: str, status: int, code: str
) -> None:
    headers = {"content-type": content_type} if content_type else {}
    assert_problem(client.post("/v1/clips", content=b"{}", headers=headers), status, code)


@pytest.fixture
def small(settings: Settings) -> Iterator[httpx.Client]:
    limited = create_app(settings.model_copy(update={"max_clip_bytes": 100_000}))
    with TestClient(limited, raise_server_exceptions=False) as client:
        key = limited.state.wiring.keys.add("k")
        client.headers["authorization"] = f"Bearer {key}"
        yield client


def test_size_limit_counts_the_film(small: httpx.Client, settings: Settings) -> None:
    head = len(film(b""))
    fits, over = film(b"x" * (100_000 - head)), film(b"x" * (100_001 - head))
    raw = {"content-type": "video/mp4"}
    assert small.post("/v1/clips", content=fits, headers=raw).status_code == 201
    assert_problem(small.post("/v1/clips", content=over, headers=raw), 413, "clip_too_large")
    form = part("file", over) + END
    assert_problem(small.post("/v1/clips", content=form, headers=FORM), 413, "clip_too_large")
    assert len(files_below(settings.object_dir)) == 1


def test_stated_length_over_the_limit_is_refused_unread(small: httpx.Client) -> None:
    reply = small.post("/v1/clips", content=b"x" * 300_000, headers={"content-type": "video/mp4"})
    assert_problem(reply, 413, "payload_too_large")


def test_json_body_over_the_limit(client: httpx.Client, settings: Settings) -> None:
    big = b'{"clip_id": "' + b"x" * settings.max_body_bytes + b'"}'
    headers = {"content-type": "application/json"}
    assert_problem(
        client.post("/v1/analyses", content=big, headers=headers), 413, "payload_too_large"
    )
    pieces = (big[i : i + 10_000] for i in range(0, len(big), 10_000))  # no Content-Length
    assert_problem(
        client.post("/v1/analyses", content=pieces, headers=headers), 413, "payload_too_large"
    )


class Discarding:
    """An object store that keeps nothing."""

    def __init__(self) -> None:
        self.size = 0
        self.committed = False
        self.aborted = False

    def upload(self, key: str, media_type: str) -> Discarding:
        return self

    def open(self, key: str, part: object = None) -> io.BytesIO:
        return io.BytesIO()  # looked into for metadata

    def write(self, data: bytes) -> None:
        self.size += len(data)

    def commit(self) -> ObjectInfo:
        self.committed = True
        return ObjectInfo("k", self.size)

    def abort(self) -> None:
        self.aborted = True


async def call(
    app: FastAPI, headers: dict[str, str], body: AsyncIterator[bytes | None]
) -> list[dict[str, object]]:
    """Send a request by bare ASGI; None in the body = the caller goes away."""
    sent: list[dict[str, object]] = []

    async def receive() -> dict[str, object]:
        try:
            piece = await anext(body)
        except StopAsyncIteration:
            return {"type": "http.request", "body": b"", "more_body": False}
        if piece is None:
            return {"type": "http.disconnect"}
        return {"type": "http.request", "body": piece, "more_body": True}

    async def send(message: dict[str, object]) -> None:
        sent.append(message)

    scope = {
        "type": "http",
        "asgi": {"version": "3.0"},
        "http_version": "1.1",
        "method": "POST",
        "scheme": "http",
        "path": "/v1/clips",
        "raw_path": b"/v1/clips",
        "query_string": b"",
        "root_path": "",
        "headers": [(k.encode(), v.encode()) for k, v in headers.items()],
        "client": ("127.0.0.1", 1),
        "server": ("127.0.0.1", 80),
    }
    await app(scope, receive, send)  # type: ignore[arg-type]
    return sent


@pytest.mark.parametrize("form", [True, False])
def test_upload_takes_constant_memory(
    app: FastAPI, wired: Wiring, form: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    store = Discarding()
    object.__setattr__(wired, "objects", store)  # the wiring is frozen
    key = wired.keys.add("k")
    piece, count = b"x" * 65_536, 2048  # 128 MiB
    headers = {"authorization": f"Bearer {key}", "content-type": "video/mp4"} | (
        FORM if form else {}
    )

    async def body() -> AsyncIterator[bytes | None]:
        if form:
            yield part("file", film())[:-2]
        else:
            yield film()
        for _ in range(count):
            yield piece
        if form:
            yield b"\r\n" + END

    tracemalloc.start()
    try:
        sent = asyncio.run(call(app, headers, body()))
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert sent[0]["status"] == 201
    assert store.size == len(film()) + count * len(piece)
    assert peak < 16 * 1024 * 1024, f"{peak / 1e6:.1f} MB for a film of 134 MB"


def test_caller_who_goes_away_leaves_nothing(
    app: FastAPI, wired: Wiring, settings: Settings
) -> None:
    async def body() -> AsyncIterator[bytes | None]:
        yield film(b"x" * 3_000_000)
        yield None

    headers = {"authorization": f"Bearer {wired.keys.add('k')}", "content-type": "video/mp4"}
    asyncio.run(call(app, headers, body()))
    assert files_below(settings.object_dir) == []


def test_same_film_sent_at_the_same_moment(client: httpx.Client, wired: Wiring) -> None:
    replies: list[httpx.Response] = []

    def send() -> None:
        replies.append(
            client.post("/v1/clips", content=film(), headers={"content-type": "video/mp4"})
        )

    threads = [threading.Thread(target=send) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(reply.status_code for reply in replies) == [200] * 7 + [201]
    assert len({reply.json()["id"] for reply in replies}) == 1
    assert len(list(wired.objects.list())) == 1


def test_analysis_is_started_with_the_film(client: httpx.Client, wired: Wiring) -> None:
    files = {"file": ("serve.mp4", film(b"analyse"), "video/mp4")}
    form = {"analyse": '{"height_m": 1.8}', "external_ref": "court 2"}
    reply = client.post("/v1/clips", files=files, data=form)
    assert reply.status_code == 201
    analysis = client.get(reply.json()["links"]["analysis"]).json()
    assert (analysis["clip_id"], analysis["status"]) == (reply.json()["id"], "queued")
    assert (analysis["options"]["height_m"], analysis["external_ref"]) == (1.8, "court 2")
    assert wired.queue.is_known(analysis["id"], 1)
    again = client.post("/v1/clips", files=files, data=form)  # has one already
    assert again.status_code == 200
    assert again.json()["links"] == reply.json()["links"]
    body = film(b"by query")
    headers = {"content-type": "video/mp4"}
    raw = client.post("/v1/clips?analyse=true", content=body, headers=headers)
    assert client.get(raw.json()["links"]["analysis"]).json()["status"] == "queued"
    plain = client.post("/v1/clips", content=film(b"plain"), headers=headers)
    assert "analysis" not in plain.json()["links"]
    for wrong in ("yes", '{"height_m": 9}', "[]"):
        reply = client.post("/v1/clips", files=files, data={"analyse": wrong})
        problem = assert_problem(reply, 422, "invalid_request")
        assert problem["errors"][0]["pointer"] == "/analyse"
