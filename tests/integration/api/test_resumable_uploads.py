"""Uploads in parts by the tus protocol 1.0.0 (https://tus.io/protocols/resumable-upload), in a
folder and in S3. Numbers of sections are those of that text.
"""

from __future__ import annotations

import base64
import hashlib
import random
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import httpx
import pytest
from sqlalchemy import select, update

from service.core import parts
from service.core.principal import Scope
from service.core.settings import Settings
from service.core.tables import Clip, Erasure, ResumableUpload, UploadPiece, Work
from service.core.wiring import Wiring
from tests.integration.api.coaching import made, new_player, new_session
from tests.integration.api.conftest import assert_problem, film
from tests.integration.api.test_direct_uploads import bucket
from tests.integration.api.test_direct_uploads import settings as s3_settings
from tests.integration.api.tus_client import PART, SPOKEN, address, begin, metadata, offset, part

__all__ = ["bucket", "s3_settings"]
FILM = film(random.Random(7).randbytes(100_000))


@pytest.fixture(params=["folder", "s3"])
def settings(request: pytest.FixtureRequest, settings: Settings, s3_server: str) -> Settings:
    if request.param == "folder":
        return settings
    box = request.getfixturevalue("bucket")
    values = {
        "object_store": "s3",
        "s3_bucket": box.name,
        "s3_endpoint_url": s3_server,
        "s3_access_key_id": "test",
        "s3_secret_access_key": "test",
    }
    return Settings.model_validate({**settings.model_dump(), **values})


@pytest.fixture(autouse=True)
def small_pieces(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(parts, "PART_BYTES", 10_000)


def sent(client: httpx.Client, content: bytes, **pairs: str) -> dict[str, Any]:
    """Send a film in three parts; return the upload."""
    where = address(begin(client, len(content), **pairs))
    step = len(content) // 3 + 1
    for first in range(0, len(content), step):
        reply = part(client, where, first, content[first : first + step])
        assert reply.status_code == 204, reply.text
    shown: dict[str, Any] = client.get(where).json()
    return shown


def test_a_film_in_parts_is_a_clip_like_any_other(client: httpx.Client, wired: Wiring) -> None:
    session = new_session(client, new_player(client), "baseline", 9)
    digest = hashlib.sha256(FILM).hexdigest()
    done = sent(client, FILM, sha256=digest, external_ref="court 1", session_id=session)
    assert (done["state"], done["received"], done["problem"]) == ("finished", len(FILM), None)
    clip = client.get(done["links"]["clip"]).json()
    assert clip["id"] == done["clip_id"]
    assert (clip["sha256"], clip["size_bytes"]) == (digest, len(FILM))
    assert (clip["external_ref"], clip["session_id"]) == ("court 1", session)
    assert clip["media_type"] == "video/mp4"
    assert client.get(f"/v1/clips/{clip['id']}/content").content == FILM
    # Nothing is left of the parts, and the film counts once.
    assert [info.key for info in wired.objects.list()] == [f"clips/{clip['id']}/film"]
    used = client.get("/v1/organisations/main/usage").json()["months"][0]
    assert (used["films"], used["bytes"]) == (1, len(FILM))
    # The same film by another way is the same clip.
    again = client.post("/v1/clips", files={"file": ("a.mp4", FILM, "video/mp4")})
    assert (again.status_code, again.json()["id"]) == (200, clip["id"])
    assert sent(client, FILM)["clip_id"] == clip["id"]


def test_creation_says_where_it_is_and_how_long(client: httpx.Client) -> None:
    reply = begin(client, len(FILM))
    assert reply.status_code == 201
    assert reply.headers["tus-resumable"] == "1.0.0"
    assert reply.headers["upload-offset"] == "0"
    assert reply.headers["upload-expires"].endswith("GMT")  # "Upload-Expires": RFC 9110 datetime
    where = reply.headers["location"]
    assert offset(client, where) == 0
    head = client.head(where, headers=SPOKEN)
    assert head.headers["upload-length"] == str(len(FILM))


def test_what_the_server_can_do(client: httpx.Client) -> None:
    reply = client.options("/v1/uploads")
    assert reply.status_code == 204
    assert reply.headers["tus-version"] == "1.0.0"
    assert set(reply.headers["tus-extension"].split(",")) == {
        "creation",
        "creation-with-upload",
        "termination",
        "expiration",
        "checksum",
    }
    assert int(reply.headers["tus-max-size"]) == 1024**3
    assert "sha1" in reply.headers["tus-checksum-algorithm"].split(",")


def test_another_version_is_refused(client: httpx.Client) -> None:
    headers = {"upload-length": "5"}
    reply = client.post("/v1/uploads", headers={**headers, "tus-resumable": "0.2.2"})
    assert_problem(reply, 412, "upload_protocol")
    assert reply.headers["tus-version"] == "1.0.0"
    missing = assert_problem(client.post("/v1/uploads", headers=headers), 422, "invalid_request")
    assert missing["errors"][0]["pointer"] == "Tus-Resumable"


def test_offset_and_type_of_parts(client: httpx.Client) -> None:
    where = address(begin(client, len(FILM)))
    assert part(client, where, 0, FILM[:500]).headers["upload-offset"] == "500"
    for wrong in (0, 499, 501, 10**15):
        reply = part(client, where, wrong, b"more")
        assert_problem(reply, 409, "upload_offset_mismatch")
        assert reply.headers["upload-offset"] == "500"
    reply = part(client, where, 500, b"more", content_type="video/mp4")
    assert_problem(reply, 415, "unsupported_media_type")
    assert_problem(part(client, where, 500, FILM), 413, "payload_too_large")
    assert offset(client, where) == 500
    headers = {**SPOKEN, "content-type": PART}
    missing = assert_problem(client.patch(where, headers=headers), 422, "invalid_request")
    assert missing["errors"][0]["pointer"] == "Upload-Offset"
    assert part(client, where, 500, FILM[500:]).status_code == 204
    # The last part again, as after an answer that got lost: nothing happens.
    assert part(client, where, len(FILM), b"").status_code == 204
    assert_problem(part(client, where, 500, FILM[500:]), 409, "upload_offset_mismatch")


@pytest.mark.parametrize("algorithm", ["sha1", "sha256"])
def test_checksum_of_a_part(client: httpx.Client, wired: Wiring, algorithm: str) -> None:
    where = address(begin(client, len(FILM)))

    def of(data: bytes) -> str:
        digest = hashlib.new(algorithm, data).digest()
        return f"{algorithm} {base64.b64encode(digest).decode()}"

    damaged = FILM[:25_000] + b"!" + FILM[25_001:30_000]
    reply = part(client, where, 0, damaged, upload_checksum=of(FILM[:30_000]))
    assert_problem(reply, 460, "checksum_mismatch")
    assert offset(client, where) == 0
    assert list(wired.objects.list()) == []
    assert part(client, where, 0, FILM[:30_000], upload_checksum=of(FILM[:30_000])).is_success
    assert offset(client, where) == 30_000
    for unknown in ("md5 AAAA", "sha1 nonsense", "sha256"):
        reply = part(client, where, 30_000, FILM[30_000:], upload_checksum=unknown)
        assert_problem(reply, 400, "malformed_request")
    rest = FILM[30_000:]
    assert part(client, where, 30_000, rest, upload_checksum=of(rest)).is_success
    assert client.get(where).json()["state"] == "finished"


def test_creation_with_the_first_part(client: httpx.Client) -> None:
    headers = {**SPOKEN, "content-type": PART, "upload-length": str(len(FILM))}
    reply = client.post("/v1/uploads", headers=headers, content=FILM[:40_000])
    assert reply.status_code == 201
    assert reply.headers["upload-offset"] == "40000"
    where = reply.headers["location"]
    assert part(client, where, 40_000, FILM[40_000:]).headers["upload-offset"] == str(len(FILM))
    whole = client.post("/v1/uploads", headers=headers, content=FILM)
    assert whole.headers["upload-offset"] == str(len(FILM))
    assert client.get(whole.headers["location"]).json()["state"] == "finished"


def test_method_in_a_header(client: httpx.Client) -> None:
    where = address(begin(client, len(FILM)))
    headers = {**SPOKEN, "content-type": PART, "upload-offset": "0"}
    reply = client.post(
        where, headers={**headers, "x-http-method-override": "PATCH"}, content=FILM[:10]
    )
    assert (reply.status_code, reply.headers["upload-offset"]) == (204, "10")


def test_giving_up(client: httpx.Client, wired: Wiring) -> None:
    once = {"idempotency-key": "once"}
    where = address(begin(client, len(FILM), headers=once))
    part(client, where, 0, FILM[:20_000])
    assert client.delete(where, headers=SPOKEN).status_code == 204
    assert address(begin(client, len(FILM), headers=once)) != where  # begun anew by a repeat
    assert client.head(where, headers=SPOKEN).status_code == 404
    assert_problem(part(client, where, 20_000, b"x"), 404, "not_found")
    assert list(wired.objects.list()) == []


def test_what_is_no_film_is_refused_at_once(client: httpx.Client, wired: Wiring) -> None:
    where = address(begin(client, 50_000))
    assert_problem(part(client, where, 0, b"%PDF-1.7" * 2000), 422, "not_a_video")
    shown = client.get(where).json()
    assert (shown["state"], shown["problem"]["code"]) == ("refused", "not_a_video")
    assert client.head(where, headers=SPOKEN).status_code == 410
    assert_problem(part(client, where, 16_000, b"x"), 410, "upload_gone")
    assert list(wired.objects.list()) == []


def test_a_film_that_is_another_than_announced(client: httpx.Client, wired: Wiring) -> None:
    where = address(begin(client, len(FILM), sha256="0" * 64))
    assert_problem(part(client, where, 0, FILM), 422, "digest_mismatch")
    assert client.get(where).json()["problem"]["code"] == "digest_mismatch"
    assert list(wired.objects.list()) == []
    with wired.database.read() as session:
        assert session.scalars(select(Clip)).all() == []


def test_bad_beginnings(client: httpx.Client) -> None:
    for length in ("", "-1", "0", "1e3", "9" * 40, "٣"):
        headers = [(b"tus-resumable", b"1.0.0"), (b"upload-length", length.encode())]
        assert_problem(client.post("/v1/uploads", headers=headers), 422, "invalid_request")
    assert_problem(begin(client, 2 * 1024**3), 413, "clip_too_large")
    assert_problem(begin(client, 5, sha256="abc"), 422, "invalid_request")
    assert_problem(begin(client, 5, session_id="ses_" + "0" * 32), 404, "not_found")
    assert_problem(begin(client, 5, analyse="{}}"), 422, "invalid_request")
    headers = {"upload-metadata": "sha256 ???"}
    assert_problem(begin(client, 5, headers=headers), 422, "invalid_request")


def test_two_at_the_same_place(client: httpx.Client, wired: Wiring) -> None:
    """A connection that hangs and the one that replaced it: each byte counts once."""
    where = address(begin(client, len(FILM)))
    row = wired.uploads.get(_principal(wired), where.rpartition("/")[2], None)
    slow = parts.PartWriter(wired.uploads, row, 0)
    slow.add(FILM[:3000])
    assert part(client, where, 0, FILM[:5000]).status_code == 204
    with pytest.raises(Exception, match="another offset"):
        slow.cut()
    assert offset(client, where) == 5000
    part(client, where, 5000, FILM[5000:])
    clip = client.get(where).json()["clip_id"]
    assert client.get(f"/v1/clips/{clip}/content").content == FILM


def _principal(wired: Wiring) -> Any:
    from service.core.principal import Principal

    return Principal("k", "main", frozenset())


@pytest.mark.parametrize("seed", range(5))
def test_cut_at_random_bytes(client: httpx.Client, wired: Wiring, seed: int) -> None:
    """However the parts fall and wherever one breaks off, the film is the same."""
    chance = random.Random(seed)
    content = film(chance.randbytes(chance.randrange(1, 60_000)))
    where = address(begin(client, len(content)))
    at = 0
    while at < len(content):
        end = min(len(content), at + chance.randrange(1, 30_000))
        if chance.random() < 0.5:
            row = wired.uploads.get(_principal(wired), where.rpartition("/")[2], None)
            writer = parts.PartWriter(wired.uploads, row, at)
            stop = chance.randrange(at, end)
            if stop > at and writer.add(content[at:stop]):
                writer.flush()
            writer.cut()
            assert offset(client, where) == stop
            at = stop
        else:
            assert part(client, where, at, content[at:end]).status_code == 204
            at = end
    done = client.get(where).json()
    if done["state"] != "finished":  # the last byte came with a part that broke off
        assert part(client, where, len(content), b"").status_code == 204
        done = client.get(where).json()
    assert client.get(f"/v1/clips/{done['clip_id']}/content").content == content


def test_after_the_last_byte_the_server_finishes_by_itself(
    client: httpx.Client, wired: Wiring
) -> None:
    where = address(begin(client, len(FILM), analyse="true"))
    row = wired.uploads.get(_principal(wired), where.rpartition("/")[2], None)
    writer = parts.PartWriter(wired.uploads, row, 0)
    writer.add(FILM)
    writer.finish()  # the process is killed here, before it made the clip
    wired.reconciler().run_once()
    assert client.get(where).json()["state"] == "receiving"  # somebody may be at it
    with wired.database.write() as session:
        early = wired.database.now(session) - timedelta(minutes=20)
        session.execute(update(ResumableUpload).values(updated_at=early))
    wired.reconciler().run_once()
    shown = client.get(where).json()
    assert shown["state"] == "finished"
    assert client.get(f"/v1/clips/{shown['clip_id']}/content").content == FILM
    assert client.get(shown["links"]["analysis"]).json()["status"] == "queued"


def test_abandoned_uploads_are_swept(client: httpx.Client, wired: Wiring) -> None:
    where = address(begin(client, len(FILM)))
    part(client, where, 0, FILM[:20_000])
    wired.reconciler().run_once()
    assert offset(client, where) == 20_000
    with wired.database.write() as session:
        early = wired.database.now(session) - timedelta(seconds=1)
        session.execute(update(ResumableUpload).values(expires_at=early))
    assert client.head(where, headers=SPOKEN).status_code == 410
    assert_problem(part(client, where, 20_000, b"x"), 410, "upload_gone")
    wired.reconciler().run_once()
    assert client.head(where, headers=SPOKEN).status_code == 404
    assert list(wired.objects.list()) == []
    with wired.database.read() as session:
        assert session.scalars(select(UploadPiece)).all() == []


def test_erased_with_its_player(client: httpx.Client, wired: Wiring) -> None:
    player = new_player(client)
    session_id = new_session(client, player, "baseline", 9)
    coming = address(begin(client, len(FILM), session_id=session_id))
    part(client, coming, 0, FILM[:20_000])
    there = sent(client, film(b"there" * 100), session_id=session_id)
    assert client.delete(f"/v1/players/{player}").status_code == 202
    for path in (coming, there["links"]["self"], there["links"]["clip"]):
        assert client.get(path).status_code == 404
    assert list(wired.objects.list()) == []
    with wired.database.read() as session:
        prefixes = session.scalars(select(Erasure.prefix)).all()
    assert any("uploads/" in prefix for prefix in prefixes)  # swept again for late writers


def test_analysis_when_the_film_is_in(client: httpx.Client, wired: Wiring) -> None:
    done = sent(client, FILM, analyse='{"height_m": 1.7}', external_ref="x1")
    analysis = client.get(done["links"]["analysis"]).json()
    assert analysis["id"] == done["analysis_id"]
    assert (analysis["clip_id"], analysis["status"]) == (done["clip_id"], "queued")
    assert (analysis["options"]["height_m"], analysis["external_ref"]) == (1.7, "x1")
    assert wired.queue.is_known(analysis["id"], 1)
    assert sent(client, FILM, analyse="true")["analysis_id"] == analysis["id"]  # has one already
    with wired.database.read() as session:
        assert len(session.scalars(select(Work)).all()) == 1


def test_a_film_is_not_lost_to_a_limit_of_work(client: httpx.Client, wired: Wiring) -> None:
    etag = client.get("/v1/organisations/main").headers["etag"]
    limits = {"limits": {"waiting_work": 1}}
    client.patch("/v1/organisations/main", json=limits, headers={"if-match": etag})
    assert sent(client, film(b"first" * 50), analyse="true")["analysis_id"]
    done = sent(client, FILM, analyse="true")
    assert (done["state"], done["analysis_id"]) == ("finished", None)
    assert done["problem"]["code"] == "quota_exceeded"


def test_films_on_their_way_count_towards_the_quota(client: httpx.Client) -> None:
    etag = client.get("/v1/organisations/main").headers["etag"]
    limits = {"limits": {"stored_bytes": len(FILM) + 100}}
    client.patch("/v1/organisations/main", json=limits, headers={"if-match": etag})
    where = address(begin(client, len(FILM)))
    assert_problem(begin(client, 101), 403, "quota_exceeded")
    assert part(client, where, 0, FILM).status_code == 204  # does not count twice
    assert client.get(where).json()["state"] == "finished"
    assert begin(client, 100).status_code == 201


def test_keys_of_others_and_of_one_player(
    client: httpx.Client, wired: Wiring, as_key: Callable[..., dict[str, str]]
) -> None:
    where = address(begin(client, len(FILM)))
    other = as_key(Scope.ADMIN, tenant="other")
    assert client.get(where, headers=other).status_code == 404
    assert client.head(where, headers={**SPOKEN, **other}).status_code == 404
    assert part(client, where, 0, FILM, **other).status_code == 404
    assert client.delete(where, headers={**SPOKEN, **other}).status_code == 404
    player = new_player(client)
    session = new_session(client, player, "baseline", 9)
    body = {"name": "k", "scopes": ["clips:write", "clips:read"], "player_id": player}
    key = made(client.post("/v1/api-keys", json=body))["key"]
    bound = {"authorization": f"Bearer {key}"}
    assert client.get(where, headers=bound).status_code == 404
    assert_problem(begin(client, 5, headers=bound), 422, "invalid_request")
    mine = begin(client, len(FILM), headers=bound, session_id=session)
    assert part(client, address(mine), 0, FILM, **bound).status_code == 204
    shown = client.get(address(mine), headers=bound).json()
    assert client.get(shown["links"]["clip"], headers=bound).json()["session_id"] == session


def test_metadata_is_as_the_protocol_writes_it() -> None:
    # The example of "Upload-Metadata" in the section "Creation".
    assert metadata(filename="world_domination_plan.pdf") == (
        "filename d29ybGRfZG9taW5hdGlvbl9wbGFuLnBkZg=="
    )
