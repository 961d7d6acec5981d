"""Films of every accepted kind: times, order, orientation and pixels.

Independent referee: PyAV, which bundles its own build of FFmpeg and its own conversion to RGB.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from models.contract.errors import FrameRateDoubtful, InvalidRequest
from tests.unit.video.filming import (
    BT2020,
    CORNERS,
    DISPLAY_P3,
    HLG,
    PQ,
    QUIET_X265,
    Film,
    number_of,
    referee,
    shoot,
    trim,
)
from workers.video import ClipStream, DecodedFrame, DecodeLimits, grab_frames, open_clip
from workers.video.decode import Decoder
from workers.video.probe import probe
from workers.video.readers import OpenCvReader
from workers.video.tone import tone_curve

RENDERED = Path(__file__).resolve().parents[2] / "data" / "rendered"

VFR_TICKS = tuple(int(t) for t in np.cumsum([0, *[3000, 1500, 6000, 2999, 4501, 750] * 5]))

FILMS: dict[str, Film] = {
    "constant": Film(),
    "variable": Film(ticks=VFR_TICKS),
    "start_offset": Film(ticks=tuple(range(45_000, 45_000 + 20 * 3000, 3000))),
    "b_frames": Film(b_frames=3, options={"crf": "16", "preset": "medium", "bf": "3"}),
    "240_fps": Film(ticks=tuple(range(0, 40 * 375, 375))),
    "with_sound": Film(sound=True),
    "sound_without_index": Film(sound=True),
    "fragmented": Film(mux={"movflags": "frag_keyframe+empty_moov"}),
    "coarse_ticks": Film(
        ticks=tuple(round(k * 600 / 240) for k in range(40)),
        time_base=Fraction(1, 600),
        mux={"video_track_timescale": "600"},
    ),
    "hevc_8": Film(codec="libx265", options=QUIET_X265),
    "hevc_10": Film(codec="libx265", pixel_format="yuv420p10le", options=QUIET_X265),
    "portrait_90": Film(rotation=90),
    "portrait_270": Film(rotation=-90),
    "upside_down": Film(rotation=180),
    "wide_colour_rotated": Film(ticks=VFR_TICKS, rotation=90, primaries=DISPLAY_P3, b_frames=3),
    "variable_hevc_rotated": Film(
        ticks=VFR_TICKS, codec="libx265", rotation=90, options=QUIET_X265
    ),
}
SUFFIX = {"variable": ".mov", "b_frames": ".mkv", "sound_without_index": ".mkv"}


def read(path: Path, **options: object) -> tuple[ClipStream, list[DecodedFrame]]:
    with open_clip(path, **options) as clip:  # type: ignore[arg-type]
        frames = [DecodedFrame(f.index, f.time_s, f.rgb.copy()) for f in clip]
    return clip, frames


def assert_times(
    frames: Sequence[DecodedFrame], expected: Sequence[float], tolerance: float
) -> None:
    assert len(frames) == len(expected)
    assert np.abs(np.array([f.time_s for f in frames]) - expected).max() <= tolerance


@pytest.mark.parametrize("kind", FILMS)
def test_times_order_and_pixels_agree_with_the_referee(kind: str, tmp_path: Path) -> None:
    film = FILMS[kind]
    path = shoot(tmp_path / f"film{SUFFIX.get(kind, '.mp4')}", film)
    clip, frames = read(path)
    truth = referee(path)
    assert_times(frames, [t for t, _ in truth], 1e-9)
    # Against what was filmed, too: Matroska keeps milliseconds, MP4 the ticks themselves.
    filmed = [(t - film.ticks[0]) * float(film.time_base) for t in film.ticks]
    assert_times(frames, filmed, 0.001 if path.suffix == ".mkv" else 1e-9)
    assert [f.index for f in frames] == list(range(len(film.ticks)))
    assert [number_of(f.rgb) for f in frames] == list(range(len(film.ticks)))
    for frame, (_, pixels) in zip(frames, truth, strict=True):
        assert frame.rgb.shape == pixels.shape
        assert np.abs(frame.rgb.astype(int) - pixels).mean() < 3
    assert clip.problems == ()
    facts = clip.final_facts()
    assert facts.frames == facts.frames_expected == clip.total_frames == len(film.ticks)
    assert facts.size_bytes == path.stat().st_size
    assert (facts.height, facts.width) == frames[0].rgb.shape[:2]


@pytest.mark.parametrize("rotation", [0, 90, 180, 270])
def test_pictures_are_upright(rotation: int, tmp_path: Path) -> None:
    """FFmpeg's display rotation counts counter-clockwise; the facts tell the clockwise turn."""
    film = Film(ticks=tuple(range(0, 9000, 3000)), rotation=rotation)
    clip, frames = read(shoot(tmp_path / "film.mp4", film))
    assert clip.facts.rotation_deg == (360 - rotation) % 360
    turned = np.rot90(frames[0].rgb, -rotation // 90)  # back to how it was stored
    assert turned.shape == (96, 160, 3)
    for name, (row, column) in {
        "top_left": (8, 8),
        "top_right": (8, -8),
        "bottom_left": (-8, 8),
    }.items():
        assert np.abs(turned[row, column].astype(int) - CORNERS[name]).max() < 30, name


@pytest.mark.parametrize(
    ("kind", "rate", "variable"),
    [
        ("constant", 30.0, False),
        ("variable", None, True),
        ("240_fps", 240.0, False),
        ("coarse_ticks", 240.0, False),
    ],
)
def test_frame_rate_is_the_mean_and_rounding_to_ticks_is_not_variable(
    kind: str, rate: float | None, variable: bool, tmp_path: Path
) -> None:
    film = FILMS[kind]
    with open_clip(shoot(tmp_path / "film.mp4", film)) as clip:
        facts = clip.facts
    span = (film.ticks[-1] - film.ticks[0]) * float(film.time_base)
    assert facts.frame_rate == pytest.approx((len(film.ticks) - 1) / span)
    if rate is not None:
        assert facts.frame_rate == pytest.approx(rate, rel=0.01)
    assert facts.frame_rate_variable is variable
    assert facts.duration_s == pytest.approx(span * len(film.ticks) / (len(film.ticks) - 1))
    assert facts.frames == 0, "none is decoded yet"


@pytest.mark.parametrize(("transfer", "name"), [(HLG, "HLG"), (PQ, "PQ")])
def test_hdr_film_is_named_and_toned(transfer: int, name: str, tmp_path: Path) -> None:
    film = Film(
        ticks=tuple(range(0, 30_000, 3000)),
        codec="libx265",
        pixel_format="yuv420p10le",
        transfer=transfer,
        primaries=BT2020,
        rotation=90,
        options=QUIET_X265,
    )
    path = shoot(tmp_path / "film.mov", film)
    clip, frames = read(path)
    assert clip.facts.hdr == name
    assert clip.facts.pixel_format == "yuv420p10le"
    assert clip.facts.rotation_deg == 270
    truth = referee(path)
    assert_times(frames, [t for t, _ in truth], 1e-9)
    for frame, (_, pixels) in zip(frames, truth, strict=True):
        assert np.array_equal(frame.rgb, tone_curve(name)[pixels])


def test_slow_motion_time_is_rescaled_when_the_rate_is_given(tmp_path: Path) -> None:
    path = shoot(tmp_path / "film.mp4")
    clip, frames = read(path, capture_fps=240.0)
    assert_times(frames, [k / 240 for k in range(30)], 1e-9)
    facts = clip.final_facts()
    assert (facts.frame_rate, facts.capture_fps_given) == (240.0, 240.0)
    assert facts.duration_s == pytest.approx(30 / 240)
    assert clip.problems == ()


def test_slow_motion_tag_of_the_file_is_used_and_said(tmp_path: Path) -> None:
    film = Film(mux={"movflags": "use_metadata_tags"}, tags={"com.android.capture.fps": "240.0"})
    path = shoot(tmp_path / "film.mp4", film)
    clip, frames = read(path)
    assert_times(frames, [k / 240 for k in range(30)], 1e-9)
    assert clip.facts.capture_fps_given is None
    assert [type(p) for p in clip.problems] == [FrameRateDoubtful]
    clip, frames = read(path, capture_fps=120.0)
    assert_times(frames, [k / 120 for k in range(30)], 1e-9)
    assert clip.problems == (), "the caller knows better than the file"


def test_capture_rate_must_be_a_rate(tmp_path: Path) -> None:
    with pytest.raises(InvalidRequest, match="capture_fps"):
        open_clip(shoot(tmp_path / "film.mp4"), capture_fps=-30.0)


@pytest.mark.parametrize("kind", ["constant", "b_frames", "variable", "wide_colour_rotated"])
def test_a_film_trimmed_by_its_edit_list_lost_nothing(kind: str, tmp_path: Path) -> None:
    film = FILMS[kind]
    path = trim(shoot(tmp_path / "film.mp4", film), film.ticks[13] - film.ticks[0])
    clip, frames = read(path)
    truth = referee(path)
    assert_times(frames, [t for t, _ in truth], 1e-9)
    assert [number_of(f.rgb) for f in frames] == list(range(13, len(film.ticks)))
    assert frames[0].time_s == 0
    assert clip.problems == ()
    assert clip.facts.frames_expected == len(film.ticks) - 13


def test_down_scaling_keeps_the_shape(tmp_path: Path) -> None:
    path = shoot(tmp_path / "film.mp4", Film(size=(320, 180), rotation=90))
    clip, frames = read(path, longest_side=160)
    assert frames[3].rgb.shape == (160, 90, 3)
    assert (clip.facts.width, clip.facts.height) == (90, 160)
    assert number_of(frames[3].rgb) == 3


def test_a_frame_is_a_read_only_view_until_the_next_one(tmp_path: Path) -> None:
    with open_clip(shoot(tmp_path / "film.mp4")) as clip:
        frames = iter(clip)
        first = next(frames)
        with pytest.raises(ValueError, match="read-only"):
            first.rgb[0, 0, 0] = 1
        kept = first.rgb.copy()
        numbers = [number_of(first.rgb)] + [number_of(f.rgb) for f in frames]
    assert numbers == list(range(30))
    assert number_of(kept) == 0
    assert first.rgb.shape == kept.shape, "memory outlives the stream while a view is held"


def test_a_film_is_read_once(tmp_path: Path) -> None:
    with open_clip(shoot(tmp_path / "film.mp4")) as clip:
        assert sum(1 for _ in clip) == 30
        with pytest.raises(RuntimeError, match="once"):
            iter(clip)


def test_chosen_frames_are_those_of_the_stream(tmp_path: Path) -> None:
    path = shoot(tmp_path / "film.mp4", FILMS["variable"])
    _, frames = read(path)
    chosen = grab_frames(path, [17, 0, 30, 17])
    assert list(chosen) == [0, 17, 30]
    for index, frame in chosen.items():
        assert frame.time_s == frames[index].time_s
        assert np.array_equal(frame.rgb, frames[index].rgb)
    assert grab_frames(path, []) == {}
    with pytest.raises(IndexError, match="31"):
        grab_frames(path, [3, 31])
    with pytest.raises(IndexError):
        grab_frames(path, [-1])


def test_a_missing_file_is_an_os_error(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        open_clip(tmp_path / "none.mp4")


def test_limits_must_be_positive() -> None:
    with pytest.raises(ValueError, match="frames"):
        DecodeLimits(frames=0)


def test_only_the_wanted_frames_of_a_film_are_handed_over(tmp_path: Path) -> None:
    path = shoot(tmp_path / "film.mp4", Film())
    with open_clip(path) as clip:
        every = {frame.index: (frame.time_s, frame.rgb.copy()) for frame in clip}
    with open_clip(path, indices=[7, 2, 3, 3]) as clip:
        assert clip.total_frames == 3
        chosen = {frame.index: (frame.time_s, frame.rgb.copy()) for frame in clip}
        assert clip.problems == ()  # what was not asked for is not lost
    assert list(chosen) == [2, 3, 7]
    for index, (time_s, rgb) in chosen.items():
        assert time_s == every[index][0]
        np.testing.assert_array_equal(rgb, every[index][1])


KEYS_OFTEN = {
    "libx264": {"g": "7", "bf": "2", "crf": "16", "preset": "medium"},
    "libx265": {**QUIET_X265, "x265-params": "log-level=none:keyint=8:bframes=2:open-gop=1"},
}
"""A key frame every few frames, so that there is something to jump to."""


@pytest.mark.parametrize("kind", sorted(FILMS))
@pytest.mark.parametrize("seed", range(2))
def test_frames_that_are_jumped_to_are_those_of_a_whole_reading(
    kind: str, seed: int, tmp_path: Path
) -> None:
    film = FILMS[kind]
    ticks = np.array(film.ticks)
    # Four times as long, so that jumps pay.
    long = np.concatenate([ticks + k * (ticks[-1] - ticks[0] + 3000) for k in range(4)])
    film = replace(film, ticks=tuple(long.tolist()), options=KEYS_OFTEN[film.codec], noise=True)
    path = shoot(tmp_path / f"film{SUFFIX.get(kind, '.mp4')}", film)
    _assert_jumps(path, np.random.default_rng(seed))


@pytest.mark.parametrize("film", sorted(RENDERED.glob("00[0-4].mp4")), ids=lambda path: path.stem)
def test_frames_of_committed_films_that_are_jumped_to(film: Path) -> None:
    _assert_jumps(film, np.random.default_rng(0))


@pytest.mark.parametrize("kind", [".mp4", ".mov"])
def test_frames_of_a_trimmed_film_that_are_jumped_to(kind: str, tmp_path: Path) -> None:
    film = Film(ticks=tuple(range(0, 120 * 3000, 3000)), options=KEYS_OFTEN["libx264"], noise=True)
    path = trim(shoot(tmp_path / f"film{kind}", film), 30_000)
    _assert_jumps(path, np.random.default_rng(0))


def _assert_jumps(path: Path, rng: np.random.Generator) -> None:
    with open_clip(path) as clip:
        every = {frame.index: (frame.time_s, frame.rgb.copy()) for frame in clip}
        assert clip.times == [(index, time_s) for index, (time_s, _) in every.items()]
    count = len(every)
    starts = rng.integers(0, count, 4)
    wanted = {int(i): every[int(i)][0] for s in starts for i in range(s, min(s + 3, count))}
    wanted[count - 1] = every[count - 1][0]
    with open_clip(path, indices=wanted) as clip:
        chosen = {frame.index: (frame.time_s, frame.rgb.copy()) for frame in clip}
    assert list(chosen) == sorted(wanted)
    for index, (time_s, rgb) in chosen.items():
        assert time_s == pytest.approx(every[index][0], abs=1e-9)
        np.testing.assert_array_equal(rgb, every[index][1])


def test_a_jump_that_lands_too_late_makes_the_film_be_read_through(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    ticks = tuple(range(0, 120 * 3000, 3000))
    path = shoot(tmp_path / "film.mp4", Film(ticks=ticks, options=KEYS_OFTEN["libx264"]))
    found = probe(str(path), DecodeLimits())
    assert len(found.keys) > 10
    real = OpenCvReader.seek
    aims: list[float] = []

    def late(self: OpenCvReader, time_s: float) -> bool:
        aims.append(time_s)
        return real(self, time_s + 1.5)

    monkeypatch.setattr(OpenCvReader, "seek", late)
    decoder = Decoder(str(path), found, DecodeLimits())
    got = []
    for number in decoder.at([2.0, 2.1, 3.5]):
        picture = np.empty((decoder.height, decoder.width, 3), np.uint8)
        assert decoder.retrieve(picture)
        got.append((number, number_of(picture)))
    decoder.close()
    assert got == [(0, 60 % 60), (1, 63 % 60), (2, 105 % 60)]  # the grey repeats after sixty
    assert len(aims) == 1


def test_jumps_spare_the_decoding_between(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    ticks = tuple(range(0, 300 * 3000, 3000))
    path = shoot(tmp_path / "film.mp4", Film(ticks=ticks, options=KEYS_OFTEN["libx264"]))
    grabs: list[int] = []
    real = OpenCvReader.grab
    monkeypatch.setattr(OpenCvReader, "grab", lambda self: grabs.append(1) or real(self))
    decoder = Decoder(str(path), probe(str(path), DecodeLimits()), DecodeLimits())
    assert list(decoder.at([9.0, 9.1])) == [0, 1]
    decoder.close()
    assert len(grabs) < 40


@pytest.mark.parametrize("kind", ["constant", "variable", "240_fps", "wide_colour_rotated"])
def test_few_frames_of_all_are_handed_over_and_the_times_of_the_others_told(
    kind: str, tmp_path: Path
) -> None:
    path = shoot(tmp_path / f"film{SUFFIX.get(kind, '.mp4')}", FILMS[kind])
    _, every = read(path)
    clip, few = read(path, every_s=0.08)
    assert clip.times == [(frame.index, frame.time_s) for frame in every]
    due, expected = -1.0, []
    for frame in every:
        if frame.time_s >= due:
            expected.append(frame.index)
            due = frame.time_s + 0.08 - 1e-9
    assert [frame.index for frame in few] == expected
    assert clip.final_facts().frames == len(every)
    assert clip.problems == ()


def test_spacing_is_in_real_seconds(tmp_path: Path) -> None:
    path = shoot(tmp_path / "film.mp4", Film())  # 30 frames, played at 30 a second
    _, few = read(path, every_s=0.025, capture_fps=240.0)
    assert [frame.index for frame in few] == [0, 6, 12, 18, 24]
    with open_clip(path, indices={20: 20 / 240}, capture_fps=240.0) as clip:
        assert [number_of(frame.rgb) for frame in clip] == [20]
