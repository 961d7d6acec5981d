"""Metadata goes out of films in place: pictures, times, edit lists and rotation stay as they are.

Each film is read by FFmpeg before and after; the places that were planted are looked for as bytes
and among what FFmpeg reads as metadata.
"""

from __future__ import annotations

import hashlib
import io
import struct
from collections.abc import Iterator
from pathlib import Path

import av
import pytest

from models.contract.resources import MetadataState
from service.core.films import cleaning, iso_film, matroska_film
from service.core.films.blanks import Blank, CannotBlank, written_over
from service.core.intake import FILM, Intake
from service.core.objects import LocalObjects
from tests.unit.service.core.test_objects import admin, s3
from workers.video.capture_fps import CAPTURE_RATE_TAGS

DATA = Path(__file__).resolve().parents[3] / "data"
SOURCE = DATA / "pose" / "contact.mp4"
PLACE = "+47.1234+008.5678/"
PLANTED = {
    "location": PLACE,
    "com.apple.quicktime.location.ISO6709": PLACE,
    "title": "PLANTED name",
    "comment": "PLANTED note",
    "make": "PLANTED maker",
    "com.android.capture.fps": "240",
}
XMP = bytes.fromhex("be7acfcb97a942e89c71999491e3afac")


def box(kind: bytes, body: bytes) -> bytes:
    return struct.pack(">I4s", 8 + len(body), kind) + body


def boxes(data: bytes) -> Iterator[tuple[bytes, int, int]]:
    """Kind, start and end of each box at the top of some bytes."""
    at = 0
    while at + 8 <= len(data):
        length, kind = struct.unpack_from(">I4s", data, at)
        yield kind, at, at + length
        at += length


def part(data: bytes, *path: bytes) -> tuple[int, int]:
    """Where the body of a box begins and ends."""
    start, end = 0, len(data)
    for kind in path:
        start, end = next(
            (start + first + 8, start + stop)
            for found, first, stop in boxes(data[start:end])
            if found == kind
        )
    return start, end


def muxed(container: str, flags: str = "") -> bytes:
    """Return the source in a container, with metadata planted."""
    made = io.BytesIO()
    options = {"movflags": flags} if flags else {}
    with av.open(str(SOURCE)) as source, av.open(made, "w", container, options=options) as target:
        video = target.add_stream_from_template(source.streams.video[0])
        target.metadata.update(PLANTED)
        for packet in source.demux(video=0):
            if packet.dts is not None:
                packet.stream = video
                target.mux(packet)
    return made.getvalue()


def planted_boxes() -> bytes:
    """Return the source with places in boxes FFmpeg does not write, rotated by 90 degrees.

    XMP and unknown boxes at the top and in the movie box, what an editor left in unused room, and
    a track of timed metadata with its samples.
    """
    film = SOURCE.read_bytes()
    start, end = part(film, b"moov")
    assert end == len(film)
    head, movie = film[: start - 8], bytearray(film[start:])
    first, _ = part(movie, b"trak", b"tkhd")
    turned = struct.pack(">9i", 0, 1 << 16, 0, -(1 << 16), 0, 0, 0, 0, 1 << 30)
    movie[first + 40 : first + 76] = turned
    samples = [f"GPS PLANTED {PLACE} {n}".encode() for n in range(5)]
    gps = box(b"mdat", b"".join(samples))
    offset = len(head) + 8
    header = bytearray(movie[slice(*part(movie, b"trak", b"tkhd"))])
    header[12:16] = struct.pack(">I", 9)
    times = movie[slice(*part(movie, b"trak", b"mdia", b"mdhd"))]
    table = box(
        b"stbl",
        box(b"stsd", struct.pack(">II", 0, 1) + box(b"gpmd", bytes(6) + b"\0\1"))
        + box(b"stts", struct.pack(">4I", 0, 1, 5, 100))
        + box(b"stsc", struct.pack(">5I", 0, 1, 1, 5, 1))
        + box(b"stsz", struct.pack(">8I", 0, 0, 5, *map(len, samples)))
        + box(b"stco", struct.pack(">3I", 0, 1, offset)),
    )
    media = (
        box(b"mdhd", bytes(times))
        + box(b"hdlr", bytes(8) + b"meta" + bytes(12) + b"PLANTED GPS\0")
        + box(b"minf", box(b"nmhd", bytes(4)) + table)
    )
    track = box(b"trak", box(b"tkhd", bytes(header)) + box(b"mdia", media))
    more = box(b"uuid", XMP + b"<x:xmpmeta>PLANTED GPS 47.1234</x:xmpmeta>")
    maker = box(b"SDLN", b"PLANTED maker 47.1234")
    left = box(b"free", b"PLANTED an older movie box 47.1234")
    loci = box(b"udta", box(b"\xa9xyz", b"\0\x12\x15\xc7" + PLACE.encode() + b"PLANTED"))
    whole = box(b"moov", bytes(movie) + track + more + loci + left)
    return head + gps + whole + maker + more


def keep(name: str) -> bool:
    return name.lower() in cleaning.KEPT_NAMES


def blanks(film: bytes) -> list[Blank]:
    walk = matroska_film if film.startswith(b"\x1a\x45\xdf\xa3") else iso_film
    return walk.blanks_of(lambda at, length: film[at : at + length], len(film), keep)


def emptied(film: bytes, piece: int = 997) -> bytes:
    pieces = (film[at : at + piece] for at in range(0, len(film), piece))
    return b"".join(written_over(pieces, blanks(film)))


def played(film: bytes) -> list[object]:
    """Everything of a film that plays: packets, then pictures with their times and rotation."""
    found: list[object] = []
    with av.open(io.BytesIO(film)) as reader:
        for packet in reader.demux():
            if packet.stream.type in ("video", "audio"):
                found.append((packet.stream.type, packet.pts, packet.dts, bytes(packet)))
    with av.open(io.BytesIO(film)) as reader:
        stream = reader.streams.video[0]
        found.append((stream.time_base, stream.start_time, stream.duration, reader.duration))
        for frame in reader.decode(video=0):
            digest = hashlib.sha256(frame.to_ndarray().tobytes()).hexdigest()
            found.append((frame.pts, frame.time_base, frame.rotation, digest))
    return found


def tags(film: bytes) -> dict[str, str]:
    with av.open(io.BytesIO(film)) as reader:
        found = dict(reader.metadata)
        for stream in reader.streams:
            found |= stream.metadata
    return found


FILMS = {
    "mp4": lambda: muxed("mp4"),
    "mp4 in fragments": lambda: muxed("mp4", "frag_keyframe+empty_moov"),
    "mov": lambda: muxed("mov"),
    "mov with items": lambda: muxed("mov", "use_metadata_tags"),
    "mp4 with items": lambda: muxed("mp4", "use_metadata_tags"),
    "matroska": lambda: muxed("matroska"),
    "boxes of makers": planted_boxes,
}


@pytest.mark.parametrize("name", FILMS)
def test_nothing_planted_is_left_and_everything_plays_as_before(name: str) -> None:
    film = FILMS[name]()
    assert b"PLANTED" in film
    after = emptied(film)
    assert len(after) == len(film)
    for planted in (b"PLANTED", b"47.1234", PLACE.encode()):
        assert planted not in after
    assert not any("location" in key.lower() for key in tags(after))
    assert played(after) == played(film)
    assert len(played(after)) > 30
    assert blanks(after) == []  # the same film is the same film


def test_the_rotation_that_stays_is_one() -> None:
    with av.open(io.BytesIO(emptied(planted_boxes()))) as reader:
        assert abs(next(reader.decode(video=0)).rotation) == 90


@pytest.mark.parametrize("name", ["mov with items", "mp4 with items", "matroska"])
def test_the_rate_of_capture_stays(name: str) -> None:
    after = {key.lower(): value for key, value in tags(emptied(FILMS[name]())).items()}
    assert after["com.android.capture.fps"] == "240"


def test_the_names_that_stay_are_those_that_are_read() -> None:
    assert set(CAPTURE_RATE_TAGS) == cleaning.KEPT_NAMES


@pytest.mark.parametrize("path", sorted((DATA / "rendered").glob("*.mp4"))[:4], ids=str)
def test_rendered_films_play_as_before(path: Path) -> None:
    film = path.read_bytes()
    assert played(emptied(film)) == played(film)


def test_pieces_of_any_size_give_the_same() -> None:
    film = planted_boxes()
    assert len({emptied(film, piece) for piece in (1 << 20, 64, 997)}) == 1


def cut(film: bytes) -> bytes:
    return film[: len(film) // 2]


@pytest.mark.parametrize(
    "film",
    [
        b"\x00\x00\x00\x18ftypisom\x00\x00\x02\x00isomiso2" + b"x" * 1000,
        cut(SOURCE.read_bytes()),
        SOURCE.read_bytes() + b"PLANTED bytes after the end",
        b"\x1a\x45\xdf\xa3" + b"\x00" * 100,
        cut(muxed("matroska"))[:40],
    ],
    ids=["noise", "no movie box", "a tail", "noise in Matroska", "cut Matroska"],
)
def test_what_cannot_be_walked_is_said(film: bytes) -> None:
    with pytest.raises(CannotBlank):
        blanks(film)


def arrived(folder: Path, film: bytes) -> tuple[MetadataState | None, bytes, str]:
    objects = LocalObjects(folder)
    intake = Intake(objects, "clips/a/film", 1 << 30, FILM)
    intake.add(film)
    received = intake.finish(frozenset({hashlib.sha256(film).hexdigest()}))
    with objects.open("clips/a/film") as stream:
        return received.metadata, stream.read(), received.sha256


def test_a_film_is_stored_without(tmp_path: Path) -> None:
    film = planted_boxes()
    state, stored, digest = arrived(tmp_path, film)
    assert state is MetadataState.REMOVED
    assert b"PLANTED" not in stored
    assert hashlib.sha256(stored).hexdigest() == digest
    assert played(stored) == played(film)
    assert not any(path.is_file() for path in (tmp_path / ".pending").iterdir())
    again, stored_again, _ = arrived(tmp_path, stored)
    assert (again, stored_again) == (MetadataState.NONE, stored)


def test_a_bucket_with_versions_keeps_no_earlier_one(s3_server: str) -> None:
    client = admin(s3_server)
    client.create_bucket(Bucket="films")
    versions = {"Status": "Enabled"}
    client.put_bucket_versioning(Bucket="films", VersioningConfiguration=versions)
    film = planted_boxes()
    intake = Intake(s3(s3_server, "films"), "clips/a/film", 1 << 30, FILM)
    intake.add(film)
    assert intake.finish().metadata is MetadataState.REMOVED
    listed = client.list_object_versions(Bucket="films")
    (one,) = listed["Versions"]
    held = client.get_object(Bucket="films", Key=one["Key"], VersionId=one["VersionId"])
    stored = held["Body"].read()
    assert b"PLANTED" not in stored
    assert stored == emptied(film)


def test_a_film_that_cannot_be_walked_says_so(tmp_path: Path) -> None:
    film = b"\x00\x00\x00\x18ftypisom\x00\x00\x02\x00isomiso2" + b"x" * 1000
    assert arrived(tmp_path, film)[:2] == (MetadataState.KEPT, film)
