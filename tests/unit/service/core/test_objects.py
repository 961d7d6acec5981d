"""One contract for every object store: the local folder, and S3 by a general-purpose stand-in
server (moto)."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from http.client import IncompleteRead
from pathlib import Path
from typing import Any

import boto3
import pytest
from urllib3.exceptions import ProtocolError

from models.contract.errors import ObjectStoreUnavailable
from service.core.objects import (
    ByteRange,
    LocalObjects,
    ObjectMissing,
    Objects,
)
from service.core.objects.encrypted import EncryptedObjects
from service.core.objects.local import free_bytes
from service.core.objects.s3 import PART_BYTES, S3Objects


def s3(endpoint: str, bucket: str = "clips", **more: Any) -> S3Objects:
    return S3Objects(
        bucket,
        region="us-east-1",
        endpoint_url=endpoint,
        access_key_id="test",
        secret_access_key="test",
        **more,
    )


def admin(endpoint: str) -> Any:
    return boto3.client(
        "s3",
        endpoint_url=endpoint,
        region_name="us-east-1",
        aws_access_key_id="test",
        aws_secret_access_key="test",
    )


@pytest.fixture(scope="module", params=["local", "sealed", "s3", "s3 with prefix and versions"])
def store(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Objects]:
    if request.param == "local":
        yield LocalObjects(tmp_path_factory.mktemp("objects"))
        return
    if request.param == "sealed":
        yield EncryptedObjects(LocalObjects(tmp_path_factory.mktemp("sealed")), [b"k" * 32])
        return
    endpoint: str = request.getfixturevalue("s3_server")
    client = admin(endpoint)
    client.create_bucket(Bucket="clips")
    if "versions" in request.param:
        client.put_bucket_versioning(Bucket="clips", VersioningConfiguration={"Status": "Enabled"})
    yield s3(endpoint, prefix="court/one" if "prefix" in request.param else "")
    left = client.list_object_versions(Bucket="clips")
    assert not left.get("Versions")
    assert not left.get("DeleteMarkers")
    client.delete_bucket(Bucket="clips")


@pytest.fixture
def objects(store: Objects) -> Iterator[Objects]:
    yield store
    for info in list(store.list()):
        store.delete(info.key)


def read(objects: Objects, key: str, part: ByteRange | None = None) -> bytes:
    with objects.open(key, part) as stream:
        return stream.read()


def test_the_local_folder_is_for_its_user_alone(tmp_path: Path) -> None:
    LocalObjects(tmp_path / "films").put_bytes("a/b", b"film", "video/mp4")
    assert (tmp_path / "films").stat().st_mode & 0o077 == 0


def test_unfinished_uploads_are_dropped_by_age(objects: Objects) -> None:
    upload = objects.upload("a/cut-off", "video/mp4")
    upload.write(b"x" * PART_BYTES)
    upload.write(b"x")
    now = datetime.now(UTC)
    # The stand-in server dates every upload 2010.
    assert objects.drop_unfinished(datetime(2001, 1, 1, tzinfo=UTC)) == 0
    assert objects.drop_unfinished(now + timedelta(hours=1)) == 1
    assert objects.drop_unfinished(now + timedelta(hours=1)) == 0
    assert list(objects.list()) == []
    with suppress(ObjectStoreUnavailable):  # S3 no longer knows it
        upload.abort()


def test_what_is_put_is_got(objects: Objects, tmp_path: Path) -> None:
    objects.put_bytes("a/b.txt", b"hello", "text/plain")
    assert read(objects, "a/b.txt") == b"hello"
    assert objects.stat("a/b.txt").size_bytes == 5
    objects.fetch("a/b.txt", tmp_path / "copy")
    assert (tmp_path / "copy").read_bytes() == b"hello"
    objects.put_bytes("a/b.txt", b"", "text/plain")
    assert read(objects, "a/b.txt") == b""


def test_parts(objects: Objects) -> None:
    content = bytes(range(256))
    objects.put_bytes("k", content, "application/octet-stream")
    for first, last in ((0, 0), (5, 9), (250, 255), (0, 255)):
        assert read(objects, "k", ByteRange(first, last)) == content[first : last + 1]


def test_upload_appears_whole_at_the_end(objects: Objects) -> None:
    upload = objects.upload("big", "video/mp4")
    piece = bytes(range(256)) * 4096  # 1 MiB
    count = PART_BYTES // len(piece) + 2
    for _ in range(count):
        upload.write(piece)
    with pytest.raises(ObjectMissing):
        objects.stat("big")
    assert list(objects.list()) == []
    assert upload.commit().size_bytes == count * len(piece)
    upload.abort()
    assert objects.stat("big").size_bytes == count * len(piece)
    assert (
        read(objects, "big", ByteRange(PART_BYTES - 3, PART_BYTES + 3))
        == (piece * 2)[len(piece) - 3 : len(piece) + 4]
    )


def test_aborted_upload_leaves_nothing(objects: Objects) -> None:
    upload = objects.upload("big", "video/mp4")
    upload.write(b"x" * (PART_BYTES + 1))
    upload.abort()
    with pytest.raises(ObjectMissing):
        objects.stat("big")
    assert list(objects.list()) == []
    assert objects.delete_prefix("big") == 0


def test_missing(objects: Objects, tmp_path: Path) -> None:
    for call in (
        lambda: objects.stat("no/such"),
        lambda: objects.open("no/such"),
        lambda: objects.fetch("no/such", tmp_path / "x"),
    ):
        with pytest.raises(ObjectMissing):
            call()
    objects.delete("no/such")
    objects.put_bytes("folder/file", b"", "text/plain")
    with pytest.raises(ObjectMissing):
        objects.stat("folder")


def test_delete_prefix_keeps_the_neighbours(objects: Objects) -> None:
    for key in ("a/1", "a/b/2", "ab/3", "c"):
        objects.put_bytes(key, key.encode(), "text/plain")
    objects.put_bytes("a/1", b"again", "text/plain")
    assert [info.key for info in objects.list("a")] == ["a/1", "a/b/2"]
    assert objects.delete_prefix("a") == 2
    assert [info.key for info in objects.list()] == ["ab/3", "c"]
    assert read(objects, "ab/3") == b"ab/3"
    objects.delete("ab/3")
    objects.delete("c")
    assert list(objects.list()) == []
    assert objects.delete_prefix("a") == 0


OUTSIDE = ("", "/a", "a/", "a//b", "../a", "a/../b", ".pending/x", "a\x00b", "ä", "a" * 513)


def test_keys_that_could_leave_the_store(objects: Objects) -> None:
    for key in OUTSIDE:
        with pytest.raises(ValueError, match="key"):
            objects.put_bytes(key, b"", "text/plain")


def test_readers_never_see_half_an_object(objects: Objects) -> None:
    first, second = b"1" * 300_000, b"2" * 300_000
    objects.put_bytes("k", first, "text/plain")
    stop = threading.Event()
    seen: set[bytes] = set()

    def look() -> None:
        while not stop.is_set():
            seen.add(read(objects, "k"))

    thread = threading.Thread(target=look)
    thread.start()
    for content in (second, first) * 5:
        objects.put_bytes("k", content, "text/plain")
    stop.set()
    thread.join()
    assert seen <= {first, second}


def test_ping(objects: Objects) -> None:
    objects.ping()


def test_s3_that_is_away() -> None:
    away = s3("http://127.0.0.1:1")
    for call in (away.ping, lambda: away.stat("k"), lambda: away.put_bytes("k", b"", "a/b")):
        with pytest.raises(ObjectStoreUnavailable):
            call()


def test_full_disk_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import errno

    store = LocalObjects(tmp_path)

    def full(descriptor: int) -> None:
        raise OSError(errno.ENOSPC, "no space")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(ObjectStoreUnavailable, match="full"):
        store.put_bytes("k", b"x", "text/plain")
    assert not [path for path in tmp_path.rglob("*") if path.is_file()]


def test_closing_a_file_on_a_full_disk_hides_no_typed_error(tmp_path: Path) -> None:
    """What is buffered is written at close, where a full disk is met again."""
    import errno

    store = LocalObjects(tmp_path)
    upload = store.upload("k", "video/mp4")
    real = upload._file

    class Full:
        def write(self, _data: bytes) -> int:
            raise OSError(errno.ENOSPC, "no space")

        def close(self) -> None:
            real.close()
            raise OSError(errno.ENOSPC, "no space")

    upload._file = Full()  # type: ignore[assignment]

    def write() -> None:
        try:
            upload.write(b"x")
        finally:
            upload.abort()

    with pytest.raises(ObjectStoreUnavailable, match="full"):
        write()
    assert not [path for path in tmp_path.rglob("*") if path.is_file()]


def test_a_disk_that_takes_no_bytes_is_not_ready(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A file of no bytes can be made on a full disk: only real ones tell."""
    import errno

    store = LocalObjects(tmp_path)
    store.ping()

    def full(_descriptor: int) -> None:
        raise OSError(errno.ENOSPC, "no space")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(ObjectStoreUnavailable, match="full"):
        store.ping()


def test_a_disk_with_too_little_room_is_not_ready(tmp_path: Path) -> None:
    free = free_bytes(tmp_path)
    LocalObjects(tmp_path, free // 2).ping()
    with pytest.raises(ObjectStoreUnavailable, match="must stay free"):
        LocalObjects(tmp_path, free * 2).ping()


def test_a_bucket_that_does_not_exist_is_named_as_the_cause(
    s3_server: str, caplog: pytest.LogCaptureFixture
) -> None:
    store = s3(s3_server, "nowhere")
    for call in (store.ping, lambda: store.put_bytes("k", b"x", "text/plain")):
        with pytest.raises(ObjectStoreUnavailable, match="does not exist"):
            call()
    assert "bucket" in caplog.text.lower()


def test_a_reply_of_s3_that_is_cut_off_is_the_store_s_fault(
    s3_server: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    client = admin(s3_server)
    client.create_bucket(Bucket="cut-off")
    store = s3(s3_server, "cut-off")
    store.put_bytes("k", b"x" * 1000, "text/plain")
    try:
        with store.open("k") as stream:

            def cut(_self: object, *_arguments: object) -> bytes:
                raise ProtocolError("connection broken", IncompleteRead(b"x"))

            monkeypatch.setattr("botocore.response.StreamingBody.read", cut)
            with pytest.raises(ObjectStoreUnavailable):
                stream.read()
    finally:
        store.delete("k")
        client.delete_bucket(Bucket="cut-off")


def test_presigned_post_is_bound_in_size(s3_server: str) -> None:
    store = s3(s3_server)
    plan = store.presign_upload("clips/1/incoming", "video/mp4", 1000, 60)
    assert plan is not None
    assert plan.url == f"{s3_server}/clips"
    import base64
    import json

    policy = json.loads(base64.b64decode(plan.fields["policy"]))
    assert ["content-length-range", 1, 1000] in policy["conditions"]
    assert {"key": "clips/1/incoming"} in policy["conditions"]
    assert {"Content-Type": "video/mp4"} in policy["conditions"]


def test_local_folder_signs_nothing(tmp_path: Path) -> None:
    store = LocalObjects(tmp_path)
    assert store.presign_upload("k", "video/mp4", 1, 60) is None
