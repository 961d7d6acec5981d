"""Films on their way in: recognised, counted, hashed."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.contract.errors import ClipTooLarge, DigestMismatch, InvalidRequest, NotAVideo
from service.core.containers import media_type_of
from service.core.identifiers import is_id, new_id, uuid7_hex
from service.core.intake import Intake, checked_sha256
from service.core.objects import LocalObjects


@pytest.mark.parametrize(
    ("head", "media_type"),
    [
        (b"\x00\x00\x00\x18ftypisom", "video/mp4"),  # ISO/IEC 14496-12
        (b"\x00\x00\x00\x20ftypmp42", "video/mp4"),
        (b"\x00\x00\x00\x14ftypqt  ", "video/quicktime"),
        (b"\x00\x00\x00\x08wide\x00\x00", "video/quicktime"),
        (b"\x00\x00\x12\x34moov\x00\x00", "video/quicktime"),
        (b"\x1a\x45\xdf\xa3\x9f\x42\x82\x84webm", "video/webm"),  # RFC 8794
        (b"\x1a\x45\xdf\xa3\xa3\x42\x82\x88matroska", "video/x-matroska"),
        (b"", None),
        (b"\x00" * 64, None),
        (b"RIFF\x00\x00\x00\x00AVI LIST", None),
        (b"#EXTM3U\nhttp://10.0.0.1/", None),
        (b"\xff\xd8\xff\xe0\x00\x10JFIF", None),
        (b"%PDF-1.7", None),
        (b"<html>", None),
    ],
)
def test_containers(head: bytes, media_type: str | None) -> None:
    assert media_type_of(head) == media_type


HEAD = b"\x00\x00\x00\x18ftypisom"


@given(st.lists(st.binary(max_size=300), max_size=20))
def test_any_cut_gives_the_same_object(
    tmp_path_factory: pytest.TempPathFactory, pieces: list[bytes]
) -> None:
    store = LocalObjects(tmp_path_factory.mktemp("o"))
    intake = Intake(store, "k", 10_000)
    for piece in (HEAD[:5], HEAD[5:], *pieces):
        if intake.add(piece):
            intake.flush()
    received = intake.finish()
    content = HEAD + b"".join(pieces)
    assert received.sha256 == hashlib.sha256(content).hexdigest()
    assert received.size_bytes == len(content)
    with store.open("k") as stream:
        assert stream.read() == content


def files(folder: Path) -> list[Path]:
    return [path for path in folder.rglob("*") if path.is_file()]


def test_wrong_digest_keeps_nothing(tmp_path: Path) -> None:
    intake = Intake(LocalObjects(tmp_path), "k", 100)
    intake.add(HEAD)
    right = hashlib.sha256(HEAD).hexdigest()
    with pytest.raises(DigestMismatch):
        intake.finish(frozenset({right, "0" * 64}))
    intake.abort()
    assert files(tmp_path) == []


def test_limit_and_empty(tmp_path: Path) -> None:
    intake = Intake(LocalObjects(tmp_path), "k", len(HEAD))
    intake.add(HEAD)
    with pytest.raises(ClipTooLarge):
        intake.add(b"x")
    with pytest.raises(NotAVideo, match="empty"):
        Intake(LocalObjects(tmp_path), "k", 100).finish()


def test_sha256_texts() -> None:
    assert checked_sha256(" " + "AB" * 32) == "ab" * 32
    for wrong in ("", "ab", "g" * 64, "0" * 65):
        with pytest.raises(InvalidRequest):
            checked_sha256(wrong)


def test_uuid7_of_the_rfc() -> None:
    # RFC 9562, appendix A.6: 017F22E2-79B0-7CC3-98C4-DC0C0C07398F
    random = 0xCC3 << 62 | 0x18C4DC0C0C07398F
    assert uuid7_hex(0x017F22E279B0, random) == "017f22e279b07cc398c4dc0c0c07398f"


def test_identifiers() -> None:
    made = [new_id("clip") for _ in range(200)]
    assert len(set(made)) == 200
    assert all(is_id(one, "clip") for one in made)
    assert not is_id(made[0], "ana")
    assert not is_id("clip_" + "0" * 31, "clip")
