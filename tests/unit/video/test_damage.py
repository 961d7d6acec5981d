"""Damaged films: what can be read is read, and what is lost is said; nothing takes the caller down.

The damage is made by a seeded mutator (bit flips, noise, truncation, lying box sizes and counts).
"""

from __future__ import annotations

import struct
from collections import Counter
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from models.contract.errors import ClipError, FramesLost
from tests.unit.video.filming import QUIET_X265, Film, number_of, overwrite, shoot
from workers.video import DecodeLimits, grab_frames, open_clip

TICKS = tuple(range(0, 60 * 1500, 1500))
FAST_START = {"movflags": "faststart"}
PER_FILM = 20
"""Damaged files made of each of the three films."""

BOXES = (b"moov", b"trak", b"mdia", b"stbl", b"stsd", b"stts", b"stsz", b"stco", b"ctts", b"mdat")


def outcome(path: Path) -> tuple[str, FramesLost | None, list[tuple[int, float]]]:
    """Read a film to its end; return how that ended, what was lost, and index and time."""
    frames: list[tuple[int, float]] = []
    try:
        with open_clip(path, DecodeLimits(stall_s=30)) as clip:
            frames += [(f.index, f.time_s) for f in clip]
            lost = [p for p in clip.problems if isinstance(p, FramesLost)]
            expected = clip.facts.frames_expected
    except ClipError as error:
        return type(error).__name__, None, frames
    assert expected is not None
    if lost:
        assert lost[0].extra["lost"] == expected - len(frames)
        assert str(expected) in lost[0].detail
    else:
        assert len(frames) >= expected
    return "read", lost[0] if lost else None, frames


def test_damaged_middle_is_read_past_the_damage(tmp_path: Path) -> None:
    path = shoot(tmp_path / "film.mp4", Film(ticks=TICKS, noise=True))
    overwrite(path, 0.45, 0.1)
    how, lost, frames = outcome(path)
    assert how == "read"
    assert lost is not None
    assert 1 <= lost.extra["lost"] < 30
    assert frames[-1][1] == pytest.approx(TICKS[-1] / 90_000), "the end of the film is there"
    ((start, end, missing),) = [gap for gap in lost.extra["gaps"] if gap[2] > 2]
    assert 0.3 < start < end < 0.8
    assert missing <= lost.extra["lost"]
    assert f"{start:.2f}-{end:.2f} s" in lost.detail
    # Times of what follows are still its own: no frame has slid into the gap.
    steps = np.diff([t for _, t in frames])
    assert steps.min() > 0
    assert steps.max() == pytest.approx(end - start)


def test_frames_after_damage_keep_their_index_when_fetched_again(tmp_path: Path) -> None:
    path = overwrite(shoot(tmp_path / "film.mp4", Film(ticks=TICKS, noise=True)), 0.45, 0.1)
    with open_clip(path) as clip:
        seen = {f.index: (f.time_s, f.rgb.copy()) for f in clip}
    last = max(seen)
    again = grab_frames(path, [last, last - 10])
    for index, frame in again.items():
        assert frame.time_s == seen[index][0]
        assert np.array_equal(frame.rgb, seen[index][1])


@pytest.mark.parametrize("name", ["film.mp4", "film.mkv"])
def test_cut_short_with_its_index_in_front(name: str, tmp_path: Path) -> None:
    mux = FAST_START if name.endswith("mp4") else {}
    path = shoot(tmp_path / name, Film(ticks=TICKS, mux=mux))
    data = path.read_bytes()
    path.write_bytes(data[: len(data) * 2 // 3])
    how, lost, frames = outcome(path)
    assert how == "read"
    assert lost is not None
    assert 10 < len(frames) < 60
    assert lost.extra["lost"] + len(frames) == pytest.approx(60, abs=0 if mux else 1)
    assert lost.extra["last_time_s"] == pytest.approx(frames[-1][1])


def test_whole_films_lose_nothing(tmp_path: Path) -> None:
    path = shoot(tmp_path / "film.mp4", Film(ticks=TICKS, mux=FAST_START))
    how, lost, frames = outcome(path)
    assert (how, lost, len(frames)) == ("read", None, 60)
    assert number_of(grab_frames(path, [41])[41].rgb) == 41


def mutate(data: bytes, rng: np.random.Generator) -> bytes:
    """Damage a file in one of five ways."""
    changed = bytearray(data)
    kind = rng.integers(5)
    if kind == 0:  # bit flips anywhere
        for at in rng.integers(0, len(changed), rng.integers(1, 40)):
            changed[at] ^= 1 << int(rng.integers(8))
    elif kind == 1:  # bit flips in the head, where the index is
        for at in rng.integers(0, min(2000, len(changed)), rng.integers(1, 12)):
            changed[at] ^= 1 << int(rng.integers(8))
    elif kind == 2:  # truncation
        del changed[int(rng.integers(1, len(changed))) :]
    elif kind == 3:  # a run of noise
        start, length = int(rng.integers(len(changed))), int(rng.integers(1, 3000))
        noise = rng.integers(0, 256, len(changed[start : start + length]), dtype=np.uint8)
        changed[start : start + length] = noise.tobytes()
    else:  # a box that lies about its size, or a table about its length
        places = [at for at in (data.find(box) for box in BOXES) if at >= 4]
        if places:
            at = int(rng.choice(places))
            lie = int(rng.choice([0, 1, 7, 8, 2**31 - 1, 2**32 - 1, int(rng.integers(2**24))]))
            offset = at - 4 if rng.random() < 0.5 else at + 8
            changed[offset : offset + 4] = struct.pack(">I", lie)
        else:
            changed[4] ^= 0xFF
    return bytes(changed)


@pytest.mark.parametrize(
    ("name", "film"),
    [
        ("film.mp4", Film(ticks=TICKS, noise=True, mux=FAST_START)),
        (
            "film.mov",
            Film(
                ticks=TICKS,
                noise=True,
                codec="libx265",
                pixel_format="yuv420p10le",
                transfer=18,
                options=QUIET_X265,
                mux=FAST_START,
            ),
        ),
        ("film.mkv", Film(ticks=TICKS, noise=True)),
    ],
    ids=["h264 mp4", "hevc 10-bit mov", "h264 mkv"],
)
def test_mutated_films_end_in_a_typed_error_or_an_honest_count(
    name: str, film: Film, tmp_path: Path
) -> None:
    path = shoot(tmp_path / name, film)
    data = path.read_bytes()
    rng = np.random.default_rng(20260)
    ends: Counter[str] = Counter()
    for _ in range(PER_FILM):
        path.write_bytes(mutate(data, rng))
        how, lost, frames = outcome(path)  # anything but a ClipError fails the test
        assert all(a[0] < b[0] and a[1] < b[1] for a, b in pairwise(frames))
        ends[how if lost is None else "lost"] += 1
    assert sum(ends.values()) == PER_FILM
    assert len(ends) >= 3, f"the mutator does too little: {ends}"
    path.write_bytes(data)
    assert outcome(path)[:2] == ("read", None), "the next film is read as ever"
