"""Sharp sounds in synthesised tracks, by themselves and through the decoder process."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
import numpy.typing as npt
import pytest

from workers.video.clip import open_clip
from workers.video.sound import RATE, onsets

KNOCKS = (0.61, 1.37, 2.104)
"""Seconds."""


def track(loud: float, seconds: float = 3.0, seed: int = 0) -> npt.NDArray[Any]:
    """Wind, a voice that swells, and knocks that ring for some milliseconds."""
    rng = np.random.default_rng(seed)
    t = np.arange(round(seconds * RATE)) / RATE
    wind = np.convolve(rng.normal(0, 1, len(t)), np.ones(64) / 64, "same") * 0.2
    swell = 0.5 * (1 - np.cos(2 * np.pi * t / 0.8))
    voice = swell * sum(np.sin(2 * np.pi * f * t) / f * 60 for f in (180, 360, 720, 1440, 2160))
    hiss = rng.normal(0, 0.002, len(t))
    signal = wind + 0.1 * voice + hiss
    for knock in KNOCKS:
        after = t - knock
        ring = np.where(after >= 0, np.exp(-np.maximum(after, 0) / 0.006), 0)
        signal += loud * ring * rng.normal(0, 1, len(t))
    return np.asarray(0.5 * signal / np.max(np.abs(signal)), np.float32)


def test_knocks_are_heard_when_they_begin() -> None:
    found = onsets(track(1.0), float(RATE))
    strongest = sorted(time for time, _ in sorted(found, key=lambda one: -one[1])[:3])
    np.testing.assert_allclose(strongest, KNOCKS, atol=0.002)


def test_wind_and_voice_are_no_knocks() -> None:
    assert onsets(track(0.0), float(RATE)) == []


def test_knocks_lost_in_noise_are_not_told() -> None:
    rng = np.random.default_rng(3)
    noise = (track(0.02) + rng.normal(0, 0.5, 3 * RATE)).astype(np.float32)
    assert [
        time for time, _ in onsets(noise, float(RATE)) if min(abs(time - k) for k in KNOCKS) < 0.01
    ] == []


def film(path: Path, sound: npt.NDArray[Any] | None, codec: str = "aac", late: float = 0.0) -> Path:
    with av.open(str(path), "w") as out:
        video = out.add_stream("libx264", rate=30)
        video.width, video.height, video.pix_fmt = 64, 48, "yuv420p"
        audio: Any = None if sound is None else out.add_stream(codec, rate=RATE, layout="mono")
        rng = np.random.default_rng(0)
        for _ in range(90):
            pixels = rng.integers(0, 255, (48, 64, 3), dtype=np.uint8)
            out.mux(video.encode(av.VideoFrame.from_ndarray(pixels, format="rgb24")))
        out.mux(video.encode())
        if sound is not None:
            for start in range(0, len(sound), 1024):
                piece = av.AudioFrame.from_ndarray(
                    sound[None, start : start + 1024], format="fltp", layout="mono"
                )
                piece.sample_rate, piece.time_base = RATE, Fraction(1, RATE)
                piece.pts = start + round(late * RATE)
                out.mux(audio.encode(piece))
            out.mux(audio.encode())
    return path


@pytest.mark.parametrize("late", [0.0, 0.25])
def test_a_film_is_listened_to(tmp_path: Path, late: float) -> None:
    with open_clip(film(tmp_path / "a.mp4", track(1.0), late=late)) as clip:
        assert sum(1 for _ in clip) == 90
        heard = clip.heard
    assert heard is not None
    strongest = sorted(time for time, _ in sorted(heard, key=lambda one: -one[1])[:3])
    np.testing.assert_allclose(strongest, np.array(KNOCKS) + late, atol=0.004)


def test_slow_motion_stretches_what_is_heard(tmp_path: Path) -> None:
    with open_clip(film(tmp_path / "a.mp4", track(1.0)), capture_fps=120.0) as clip:
        list(clip)
        assert clip.heard is not None
        strongest = sorted(time for time, _ in sorted(clip.heard, key=lambda one: -one[1])[:3])
    np.testing.assert_allclose(strongest, np.array(KNOCKS) / 4.0, atol=0.002)


def test_a_silent_film_says_so(tmp_path: Path) -> None:
    with open_clip(film(tmp_path / "a.mp4", None)) as clip:
        list(clip)
        assert clip.heard is None


def test_sound_of_a_codec_that_is_not_decoded_is_no_sound(tmp_path: Path) -> None:
    with open_clip(film(tmp_path / "a.mkv", track(1.0), codec="mp2")) as clip:
        assert sum(1 for _ in clip) == 90
        assert clip.heard is None
