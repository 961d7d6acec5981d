"""Files that are refused: each with its kind, before anything is decoded."""

from __future__ import annotations

import io
import os
import socket
from fractions import Fraction
from pathlib import Path

import pytest

from models.contract.errors import (
    ClipDamaged,
    ClipError,
    ClipResolutionTooHigh,
    ClipTooLarge,
    ClipTooLong,
    ClipTooManyFrames,
    ClipWithoutFrames,
    ClipWithoutPicture,
    CodecNotSupported,
    DecodeLimitExceeded,
    NotAVideo,
)
from tests.unit.video.filming import Film, record_sound, shoot, shoot_nothing
from workers.video import DecodeLimits, open_clip
from workers.video.limits import MIB
from workers.video.probe import ends_inside_a_box, missing_by_time, recognise

BIG = Film(ticks=(0, 3000), size=(8192, 4320), options={"preset": "ultrafast", "crf": "40"})


@pytest.fixture(scope="module")
def eight_k(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return shoot(tmp_path_factory.mktemp("big") / "film.mp4", BIG)


def refusal(path: Path, limits: DecodeLimits | None = None) -> ClipError:
    with pytest.raises(ClipError) as caught, open_clip(path, limits or DecodeLimits()):
        pass
    assert len(caught.value.detail) > 20
    assert "/" not in caught.value.detail, "no paths in what a user reads"
    return caught.value


def write(path: Path, content: bytes) -> Path:
    path.write_bytes(content)
    return path


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"x",
        b"This is a text that someone named .mp4.\n" * 100,
        b"RIFF\x00\x00\x00\x00AVI LIST",
        b"\x00\x00\x01\xba" + bytes(2000),
        bytes(5000),
        b"\x89PNG\r\n\x1a\n" + bytes(100),
    ],
    ids=["empty", "one byte", "text", "avi", "mpeg", "zeros", "png"],
)
def test_what_is_not_a_film(content: bytes, tmp_path: Path) -> None:
    assert type(refusal(write(tmp_path / "film.mp4", content))) is NotAVideo


def test_a_folder_and_a_pipe_are_not_films(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.mp4")
    assert type(refusal(tmp_path)) is NotAVideo
    assert type(refusal(tmp_path / "pipe.mp4")) is NotAVideo


@pytest.mark.parametrize(
    "script",
    [
        "#EXTM3U\n#EXT-X-TARGETDURATION:9\n#EXTINF:9,\nhttp://127.0.0.1:{port}/a.ts\n"
        "#EXT-X-ENDLIST\n",
        "ffconcat version 1.0\nfile http://127.0.0.1:{port}/a.mp4\n",
        "v=0\no=- 0 0 IN IP4 127.0.0.1\ns=x\nc=IN IP4 127.0.0.1\nt=0 0\n"
        "m=video {port} RTP/AVP 96\n",
        '<?xml version="1.0"?><MPD><Period><BaseURL>http://127.0.0.1:{port}/</BaseURL></Period></MPD>',
    ],
    ids=["hls", "concat", "sdp", "dash"],
)
def test_a_playlist_opens_no_address(script: str, tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.settimeout(0.2)
        text = script.format(port=server.getsockname()[1])
        assert type(refusal(write(tmp_path / "film.mp4", text.encode()))) is NotAVideo
        with pytest.raises(TimeoutError):
            server.accept()


@pytest.mark.parametrize(
    ("head", "demuxer"),
    [
        (b"\x00\x00\x00\x18ftypmp42", "mov"),
        (b"\x00\x00\x00\x08wide\x00\x00", "mov"),
        (b"\x1aE\xdf\xa3\x9fB\x86\x81", "matroska"),
    ],
)
def test_films_are_recognised_by_content(head: bytes, demuxer: str) -> None:
    assert recognise(head) == demuxer


@pytest.mark.parametrize(
    ("content", "cut"),
    [
        (b"\0\0\0\x10ftypmp42\0\0\0\0", False),
        (b"\0\0\0\x10ftypmp42\0\0\0\0\0\0\0\x09mdatx", False),
        (b"\0\0\0\x10ftypmp42\0\0\0\0\0\0\0\x0amdatx", True),
        (b"\0\0\0\x10ftypmp42\0\0\0\0\0\0\0\x00mdatxyz", False),
        (b"\0\0\0\x01mdat\0\0\0\0\0\0\0\x11x", False),
        (b"\0\0\0\x01mdat\0\0\0\0\0\0\0\x12x", True),
        (b"\0\0\0\x10ftypmp42\0\0\0\0\0\0\0\x02mdat", True),
        (b"\0\0\0\x10ftypmp42\0\0\0\0\0\0", True),
    ],
)
def test_a_file_that_ends_inside_a_box(content: bytes, cut: bool) -> None:
    assert ends_inside_a_box(io.BytesIO(content)) is cut


@pytest.mark.parametrize(
    ("times", "duration_s", "missing"),
    [
        ([0.0, 0.1, 0.2, 0.3], 0.4, 0),
        ([0.0, 0.1, 0.2, 0.3], 0.0, 0),
        ([0.0, 0.1, 0.2, 1.0, 1.1], 1.2, 7),
        ([0.0, 0.1, 0.2, 0.3], 1.0, 6),
        ([0.0, 0.1, 0.3, 0.4, 0.6], 0.7, 0),
    ],
)
def test_missing_frames_show_in_the_times(
    times: list[float], duration_s: float, missing: int
) -> None:
    assert missing_by_time(times, duration_s) == missing


def test_sound_only(tmp_path: Path) -> None:
    assert type(refusal(record_sound(tmp_path / "film.mp4"))) is ClipWithoutPicture


def test_no_frames(tmp_path: Path) -> None:
    assert type(refusal(shoot_nothing(tmp_path / "film.mp4"))) is ClipWithoutFrames


def test_one_frame(tmp_path: Path) -> None:
    path = shoot(tmp_path / "film.mp4", Film(ticks=(0,)))
    assert type(refusal(path)) is ClipWithoutFrames


@pytest.mark.parametrize("codec", ["mpeg4", "mjpeg", "libsvtav1"])
def test_other_codecs(codec: str, tmp_path: Path) -> None:
    pixel_format = "yuvj420p" if codec == "mjpeg" else "yuv420p"
    film = Film(
        ticks=range(10),
        time_base=Fraction(1, 30),
        codec=codec,
        pixel_format=pixel_format,
        b_frames=0,
        options={},
    )
    error = refusal(shoot(tmp_path / "film.mp4", film))
    assert type(error) is CodecNotSupported
    assert "H.264 or HEVC" in error.detail


def test_index_missing(tmp_path: Path) -> None:
    path = shoot(tmp_path / "film.mp4")
    data = path.read_bytes()
    cut = data.index(b"moov") - 4
    assert type(refusal(write(path, data[:cut]))) is ClipDamaged
    assert type(refusal(write(path, data[: cut + 60]))) is ClipDamaged


def test_file_too_large(tmp_path: Path) -> None:
    path = shoot(tmp_path / "film.mp4")
    assert type(refusal(path, DecodeLimits(size_bytes=1000))) is ClipTooLarge


def test_two_hours(tmp_path: Path) -> None:
    film = Film(ticks=(0, 3600, 7200), time_base=Fraction(1, 1))
    error = refusal(shoot(tmp_path / "film.mp4", film))
    assert type(error) is ClipTooLong
    assert "120 s" in error.detail


def test_long_time_line_without_stated_duration(tmp_path: Path) -> None:
    path = shoot(tmp_path / "film.mkv", Film(ticks=(0, 3000, 200 * 90_000)))
    data = path.read_bytes()
    at = data.index(b"\x44\x89\x88")  # Matroska: Duration, 8 bytes
    path.write_bytes(data[: at + 3] + bytes(8) + data[at + 11 :])
    assert type(refusal(path)) is ClipTooLong


def test_too_many_frames(tmp_path: Path) -> None:
    for name in ("film.mp4", "film.mkv"):  # the second states no number of frames
        path = shoot(tmp_path / name)
        assert type(refusal(path, DecodeLimits(frames=29))) is ClipTooManyFrames
        with open_clip(path, DecodeLimits(frames=30)) as clip:
            assert clip.total_frames == 30


def test_a_million_frames_per_second(tmp_path: Path) -> None:
    film = Film(ticks=tuple(range(30)), time_base=Fraction(1, 1_000_000))
    error = refusal(shoot(tmp_path / "film.mp4", film))
    assert type(error) is ClipDamaged
    assert "frames per second" in error.detail


def test_eight_k(eight_k: Path) -> None:
    error = refusal(eight_k)
    assert type(error) is ClipResolutionTooHigh
    assert "8192 x 4320" in error.detail


def test_eight_k_that_says_it_is_small(eight_k: Path, tmp_path: Path) -> None:
    """The sample entry lies about the size; the picture itself is 8192 x 4320."""
    data = bytearray(eight_k.read_bytes())
    at = data.index(b"avc1", data.index(b"stsd")) + 28
    assert data[at : at + 4] == bytes([0x20, 0x00, 0x10, 0xE0])
    data[at : at + 4] = bytes([0x01, 0x40, 0x00, 0xF0])
    assert type(refusal(write(tmp_path / "film.mp4", bytes(data)))) is ClipResolutionTooHigh


def test_memory_is_limited_whatever_the_pixels(eight_k: Path) -> None:
    limits = DecodeLimits(pixels=10**9, memory_bytes=500 * MIB)
    with pytest.raises(DecodeLimitExceeded), open_clip(eight_k, limits) as clip:
        for _ in clip:
            pass
