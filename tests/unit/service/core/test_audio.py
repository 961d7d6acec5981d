"""What is taken as a voice: sound alone, known by its content, without what its file tells."""

from __future__ import annotations

import io
import struct
from pathlib import Path

import av
import numpy as np
import pytest

from models.contract.errors import UnsupportedMediaType
from service.core.audio import MP3, MP4, OGG, WAV, WEBM, audio_type, voice_of
from tests.films import RENDERED

PLACE = "+48.1374+011.5755/"
CODECS = {MP4: ("mp4", "aac"), WEBM: ("webm", "libopus"), OGG: ("ogg", "libopus"),
          MP3: ("mp3", "mp3"), WAV: ("wav", "pcm_s16le")}  # fmt: skip


def spoken(kind: str) -> bytes:
    """Return a tone of 0.4 s in a container, with a place and a title in its tags."""
    container, codec = CODECS[kind]
    file = io.BytesIO()
    rate = 48000
    tone = 0.2 * np.sin(2 * np.pi * 330 * np.arange(round(0.4 * rate)) / rate)
    options = {"movflags": "use_metadata_tags"} if kind == MP4 else {}
    with av.open(file, "w", format=container, container_options=options) as out:
        out.metadata.update({"title": "Canary", "location": PLACE, "comment": PLACE})
        stream = out.add_stream(codec, rate=rate)
        stream.layout = "mono"
        frame = av.AudioFrame.from_ndarray(
            (32767 * tone).astype(np.int16)[None], format="s16", layout="mono"
        )
        frame.sample_rate = rate
        for piece in (frame, None):
            for packet in stream.encode(piece):
                out.mux(packet)
    return file.getvalue()


def length_s(data: bytes) -> float:
    with av.open(io.BytesIO(data)) as file:
        frames = list(file.decode(audio=0))
    return sum(frame.samples / frame.sample_rate for frame in frames)


@pytest.mark.parametrize("kind", CODECS)
def test_each_kind_is_known_by_its_content_and_still_plays(kind: str) -> None:
    data = spoken(kind)
    assert audio_type(data) == kind
    found, kept = voice_of(data)
    assert found == kind
    assert length_s(kept) == pytest.approx(length_s(data), abs=0.03)
    if kind != OGG:  # its comments stay
        assert PLACE.encode() in data
        assert PLACE.encode() not in kept
        assert b"Canary" not in kept
    assert voice_of(kept) == (kind, kept)  # nothing more to take out


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"ID3",
        b"hello, this is text",
        b"\xff\xfb\x90\x00" + bytes(600),  # one header of MP3 and nothing behind it
        b"RIFF\x04\x00\x00\x00WAVE",
        b"OggS" + bytes(100) + b"\x80theora",
        struct.pack(">I4s4s", 12, b"ftyp", b"M4A "),
        b"\x1a\x45\xdf\xa3" + b"webm" + bytes(50),
        b"%PDF-1.7",
        b"<html><audio>",
        b"\x7fELF" + bytes(200),
    ],
)
def test_what_is_no_sound_is_refused(data: bytes) -> None:
    assert audio_type(data) is None
    with pytest.raises(UnsupportedMediaType):
        voice_of(data)


def test_films_are_refused_and_cut_off_files_do_no_harm() -> None:
    assert audio_type((RENDERED / "016.mp4").read_bytes()) is None
    for kind in CODECS:
        data = spoken(kind)
        for share in (0.1, 0.5, 0.9):
            try:
                voice_of(data[: round(share * len(data))])
            except UnsupportedMediaType:
                continue


def test_films_with_sound_in_webm_are_refused(tmp_path: Path) -> None:
    film = tmp_path / "film.webm"
    with av.open(film, "w") as out:
        stream = out.add_stream("libvpx", rate=10)
        stream.width, stream.height, stream.pix_fmt = 64, 64, "yuv420p"
        sound = out.add_stream("libopus", rate=48000)
        sound.layout = "mono"
        picture = av.VideoFrame.from_ndarray(np.zeros((64, 64, 3), np.uint8), format="rgb24")
        quiet = av.AudioFrame.from_ndarray(np.zeros((1, 4800), np.int16), "s16", "mono")
        quiet.sample_rate = 48000
        for one, frame in ((stream, picture), (sound, quiet), (stream, None), (sound, None)):
            for packet in one.encode(frame):
                out.mux(packet)
    assert b"A_OPUS" in film.read_bytes()
    assert audio_type(film.read_bytes()) is None
