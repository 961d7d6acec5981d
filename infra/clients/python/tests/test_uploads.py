"""Uploads against a small tus 1.0 server that loses connections."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import httpx
import pytest
from servewright_client import (
    GoneError,
    NotStarted,
    RefusedError,
    Servewright,
    ServewrightClientError,
    UnreachableError,
)

from .conftest import problem

UPLOAD = "upl_" + "0" * 32
CLIP = "clip_" + "0" * 32
LENGTH = 100_003
PIECE = 10_000


class Tus:
    """Core protocol and creation (tus.io, version 1.0.0)."""

    def __init__(self, trouble: Callable[[int, int], str | None]) -> None:
        self.trouble = trouble
        self.data = bytearray()
        self.length = 0
        self.said: dict[str, str] = {}
        self.patches = 0
        self.bytes_sent = 0
        self.taken = True
        self.more: dict[str, Any] = {}

    def __call__(self, request: httpx.Request) -> httpx.Response:
        request.read()
        path = request.url.path
        if path == f"/v1/clips/{CLIP}":
            digest = hashlib.sha256(self.data).hexdigest()
            clip = {"id": CLIP, "state": "ready", "size_bytes": self.length, "sha256": digest}
            return httpx.Response(200, json=clip)
        if path == "/v1/analyses/ana_1":
            return httpx.Response(200, json={"id": "ana_1", "status": "queued", "progress": 0})
        if request.method == "GET":
            return httpx.Response(200, json=self.state())
        assert request.headers["tus-resumable"] == "1.0.0"
        if request.method == "POST":
            assert path == "/v1/uploads"
            self.length = int(request.headers["upload-length"])
            pairs = (pair.split(" ") for pair in request.headers["upload-metadata"].split(","))
            self.said = {name: base64.b64decode(text).decode() for name, text in pairs}
            return httpx.Response(201, json=self.state(), headers={"location": f"{path}/{UPLOAD}"})
        offset = {"upload-offset": str(len(self.data))}
        if request.method == "HEAD":
            return httpx.Response(200, headers=offset)
        assert request.method == "PATCH"
        assert request.headers["content-type"] == "application/offset+octet-stream"
        assert int(request.headers["content-length"]) == len(request.content)
        self.patches += 1
        self.bytes_sent += len(request.content)
        if int(request.headers["upload-offset"]) != len(self.data):
            return problem(409, "upload_offset_mismatch", headers=offset)
        trouble = self.trouble(self.patches, len(self.data))
        if trouble == "before":
            raise httpx.ConnectError("no way")
        if trouble == "half":
            self.data += request.content[: len(request.content) // 2]
            raise httpx.WriteError("cut")
        if trouble == "gone":
            return problem(410, "upload_gone")
        self.data += request.content
        if trouble == "after":
            raise httpx.ReadError("answer lost")
        return httpx.Response(204, headers={"upload-offset": str(len(self.data))})

    def state(self) -> dict[str, Any]:
        whole = self.length > 0 and len(self.data) == self.length
        ended = {"clip_id": CLIP} if self.taken else {"problem": {"code": "not_a_video"}}
        return {
            "id": UPLOAD,
            "state": ("finished" if self.taken else "refused") if whole else "receiving",
            "received": len(self.data),
            "length": self.length,
            **((ended | self.more) if whole else {}),
        }


@pytest.fixture
def film(tmp_path: Path) -> Path:
    path = tmp_path / "serve.mp4"
    path.write_bytes(bytes(index * index % 251 for index in range(LENGTH)))
    return path


def client_of(server: Tus, **options: Any) -> Servewright:
    return Servewright(
        "https://serve.example.org",
        "sw_test",
        transport=httpx.MockTransport(server),
        sleep=lambda _: None,
        piece_bytes=PIECE,
        **options,
    )


@pytest.mark.parametrize("trouble", [None, "before", "half", "after"])
def test_film_arrives_whole_through_cut_connections(film: Path, trouble: str | None) -> None:
    server = Tus(lambda number, _: trouble if number % 2 else None)
    seen: list[tuple[int, int]] = []
    clip = client_of(server).upload(film, session_id="ses_1", progress=lambda *at: seen.append(at))
    assert bytes(server.data) == film.read_bytes()
    assert clip.sha256 == hashlib.sha256(film.read_bytes()).hexdigest() == server.said["sha256"]
    assert server.said["session_id"] == "ses_1"
    assert "analyse" not in server.said
    assert seen == sorted(set(seen))
    assert seen[-1] == (LENGTH, LENGTH)
    # At most half of what was on its way is sent twice, and nothing when only the answer was lost.
    spare = {None: 0, "before": 11 * PIECE, "half": LENGTH, "after": 0}[trouble]
    assert LENGTH <= server.bytes_sent <= LENGTH + spare


def test_upload_goes_on_after_a_restart(film: Path) -> None:
    server = Tus(lambda number, _: "before" if number >= 4 else None)
    known: list[str] = []
    with pytest.raises(UnreachableError):
        client_of(server).upload(film, begun=lambda upload: known.append(upload.id))
    assert known == [UPLOAD]
    assert len(server.data) == 3 * PIECE
    server.trouble = lambda *_: None
    before = server.bytes_sent
    ended = client_of(server).resume(UPLOAD, film)
    assert server.bytes_sent - before == LENGTH - 3 * PIECE
    assert (ended.clip_id, ended.received) == (CLIP, LENGTH)
    assert client_of(server).resume(UPLOAD, film) == ended


def test_another_film_does_not_go_on_with_it(film: Path, tmp_path: Path) -> None:
    server = Tus(lambda number, _: "before" if number >= 4 else None)
    with pytest.raises(UnreachableError):
        client_of(server).upload(film)
    other = tmp_path / "other.mp4"
    other.write_bytes(b"short")
    with pytest.raises(ServewrightClientError, match="5 bytes"):
        client_of(server).resume(UPLOAD, other)


def test_what_cannot_go_on_is_said(film: Path) -> None:
    with pytest.raises(GoneError):
        client_of(Tus(lambda *_: "gone")).upload(film)
    server = Tus(lambda *_: None)
    server.taken = False
    with pytest.raises(RefusedError) as caught:
        client_of(server).upload(film)
    assert caught.value.code == "not_a_video"


def test_film_is_measured_when_it_is_in(film: Path) -> None:
    server = Tus(lambda *_: None)
    server.more = {"analysis_id": "ana_1"}
    assert client_of(server).measure(film, height_m=1.8).id == "ana_1"
    assert server.said["analyse"] == '{"height_m": 1.8}'


def test_analysis_that_did_not_begin_is_said_beside_the_film(film: Path) -> None:
    server = Tus(lambda *_: None)
    server.more = {"problem": {"code": "quota_exceeded", "detail": "Ask for more."}}
    with pytest.raises(NotStarted, match=r"Ask for more\.") as caught:
        client_of(server).measure(film)
    assert caught.value.upload.clip_id == CLIP
    assert caught.value.upload.problem is not None
    assert caught.value.upload.problem.code == "quota_exceeded"


def test_film_is_sent_anew_whole_under_one_key(scripted, film: Path) -> None:
    clip = {"id": CLIP, "state": "ready", "size_bytes": LENGTH, "sha256": "0" * 64}
    cut = httpx.WriteError("cut")
    client, script = scripted(cut, cut, httpx.Response(201, json=clip))
    assert client.send(film, external_ref="court 3").id == CLIP
    assert {request.content for request in script.asked} == {film.read_bytes()}
    assert len({request.headers["idempotency-key"] for request in script.asked}) == 1
    asked = script.asked[0]
    assert asked.headers["content-length"] == str(LENGTH)
    assert "transfer-encoding" not in asked.headers
    assert asked.url.params["sha256"] == hashlib.sha256(film.read_bytes()).hexdigest()
    assert asked.url.params["external_ref"] == "court 3"
    assert "session_id" not in asked.url.params
