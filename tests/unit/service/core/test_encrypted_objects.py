"""Local objects sealed with keys from a file: whole, in ranges, tampered with, with another key."""

from __future__ import annotations

import os
import secrets
from pathlib import Path

import pytest

from models.contract.errors import InvalidRequest, ObjectStoreUnavailable
from service.core.backup import write_backup
from service.core.objects import ByteRange, LocalObjects
from service.core.objects.encrypted import PIECE, EncryptedObjects
from service.core.objects.key_file import add_key, keys_in
from service.core.restore import Restorer
from service.core.settings import Settings
from service.core.wiring import Wiring, open_objects

SIZES = (0, 1, PIECE - 1, PIECE, PIECE + 1, 3 * PIECE, 3 * PIECE + 17)
WORD = b"planted in an object"


def store(folder: Path, *keys: bytes) -> EncryptedObjects:
    return EncryptedObjects(LocalObjects(folder), keys or (b"k" * 32,))


def content(size: int) -> bytes:
    return (WORD * (size // len(WORD) + 1))[:size]


@pytest.mark.parametrize("size", SIZES)
def test_what_was_written_is_read(tmp_path: Path, size: int) -> None:
    objects, data = store(tmp_path), content(size)
    upload = objects.upload("a/film", "video/mp4")
    for at in range(0, size, 10_007):
        upload.write(data[at : at + 10_007])
    assert upload.commit().size_bytes == size
    assert objects.stat("a/film").size_bytes == size
    assert [info.size_bytes for info in objects.list()] == [size]
    with objects.open("a/film") as stream:
        assert stream.read() == data
    objects.fetch("a/film", tmp_path / "copy")
    assert (tmp_path / "copy").read_bytes() == data
    stored = (tmp_path / "a/film").read_bytes()
    assert WORD[:8] not in stored
    for first in {0, 1, PIECE - 1, PIECE, size - 1} & set(range(size)):
        for last in {first, min(first + PIECE, size - 1), size - 1}:
            with objects.open("a/film", ByteRange(first, last)) as stream:
                assert stream.read() == data[first : last + 1]


def test_the_same_twice_is_not_the_same_on_disk(tmp_path: Path) -> None:
    objects = store(tmp_path)
    for name in ("a", "b"):
        objects.put_bytes(name, content(100), "text/plain")
    assert (tmp_path / "a").read_bytes()[32:] != (tmp_path / "b").read_bytes()[32:]


def flipped(data: bytes) -> bytes:
    return data[:-1] + bytes((data[-1] ^ 1,))


def cut(data: bytes) -> bytes:
    return data[: 32 + 2 * (PIECE + 16)]


def exchanged(data: bytes) -> bytes:
    step = PIECE + 16
    return (
        data[:32] + data[32 + step : 32 + 2 * step] + data[32 : 32 + step] + data[32 + 2 * step :]
    )


@pytest.mark.parametrize("harm", [flipped, cut, exchanged], ids=lambda harm: harm.__name__)
def test_what_was_tampered_with_is_not_read(tmp_path: Path, harm: object) -> None:
    objects = store(tmp_path)
    objects.put_bytes("a/film", content(3 * PIECE + 17), "video/mp4")
    path = tmp_path / "a/film"
    path.write_bytes(harm(path.read_bytes()))  # type: ignore[operator]
    with pytest.raises(ObjectStoreUnavailable), objects.open("a/film") as stream:
        stream.read()


def test_an_object_is_bound_to_its_name(tmp_path: Path) -> None:
    objects = store(tmp_path)
    objects.put_bytes("mine", content(50), "text/plain")
    os.rename(tmp_path / "mine", tmp_path / "theirs")
    with pytest.raises(ObjectStoreUnavailable), objects.open("theirs") as stream:
        stream.read()


def test_another_key_opens_nothing_and_says_which_is_missing(tmp_path: Path) -> None:
    store(tmp_path).put_bytes("a", content(50), "text/plain")
    with pytest.raises(ObjectStoreUnavailable) as caught:
        store(tmp_path, b"o" * 32).open("a")
    assert "key" in str(caught.value).lower()


def test_keys_are_changed_and_what_was_plain_is_sealed(tmp_path: Path) -> None:
    old, new = secrets.token_bytes(32), secrets.token_bytes(32)
    LocalObjects(tmp_path).put_bytes("plain", content(200), "text/plain")
    store(tmp_path, old).put_bytes("old", content(2 * PIECE), "text/plain")
    both = store(tmp_path, new, old)
    with both.open("plain", ByteRange(3, 9)) as stream:
        assert stream.read() == content(200)[3:10]
    assert both.seal_all() == 2
    assert both.seal_all() == 0
    alone = store(tmp_path, new)
    for name, size in (("plain", 200), ("old", 2 * PIECE)):
        with alone.open(name) as stream:
            assert stream.read() == content(size)
        assert WORD not in (tmp_path / name).read_bytes()


def test_a_file_of_keys(tmp_path: Path) -> None:
    path = tmp_path / "keys"
    assert add_key(path) == 1
    first = keys_in(path)
    assert add_key(path) == 2
    assert keys_in(path)[1:] == first
    assert path.stat().st_mode & 0o777 == 0o600
    path.chmod(0o644)
    with pytest.raises(InvalidRequest, match="chmod 600"):
        keys_in(path)
    path.chmod(0o600)
    path.write_text("no key")
    with pytest.raises(InvalidRequest, match="object-key new"):
        keys_in(path)


def test_the_service_does_not_start_without_the_key(tmp_path: Path) -> None:
    path = tmp_path / "keys"
    add_key(path)
    sealed = open_objects(Settings(data_dir=tmp_path / "data", object_key_file=path))
    assert isinstance(sealed, EncryptedObjects)
    sealed.put_bytes("a", WORD, "text/plain")
    with pytest.raises(InvalidRequest, match="SERVEWRIGHT_OBJECT_KEY_FILE"):
        open_objects(Settings(data_dir=tmp_path / "data"))


def test_a_backup_is_restored_under_another_key(wiring: Wiring, tmp_path: Path) -> None:
    first, second = store(tmp_path / "first", b"1" * 32), store(tmp_path / "second", b"2" * 32)
    first.put_bytes("clips/a/film", content(PIECE + 5), "video/mp4")
    write_backup(wiring.database, first, tmp_path / "backup.tar")
    assert WORD in (tmp_path / "backup.tar").read_bytes()  # said in infra/erasure.md
    Restorer(f"sqlite:///{tmp_path / 'other.db'}", second).restore(tmp_path / "backup.tar")
    with second.open("clips/a/film") as stream:
        assert stream.read() == content(PIECE + 5)
    assert WORD not in (tmp_path / "second/clips/a/film").read_bytes()


def test_buckets_have_encryption_of_their_own(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="bucket's own encryption"):
        Settings(object_store="s3", s3_bucket="b", object_key_file=tmp_path / "keys")
