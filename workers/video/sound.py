"""Sharp sounds in a film's sound track: candidates for a ball being struck.

Runs in the decoder process, which hands on times and strengths only: the sound itself, with what
people say, is neither kept nor passed on.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import av
import numpy as np
import numpy.typing as npt

from workers.video.limits import DecodeLimits

Array = npt.NDArray[np.float32]

CODECS = frozenset(
    {
        *("aac", "ac3", "alac", "eac3", "flac", "mp3", "opus", "vorbis"),
        *("pcm_s16be", "pcm_s16le", "pcm_s24le", "pcm_f32le"),
    }
)
"""Sound codecs that are decoded: what phones, cameras and editing programs write."""
RATE = 32_000
"""Samples per second that a track is brought to."""
BAND_HZ = (1_500.0, 9_000.0)
"""Band that is listened to: a struck ball has energy over all of it, voices, wind and steps little
above its lower end (working value: two broadcasts, synthesised tracks)."""
TAPS = 129
"""Length of the band filter, samples: odd, so that its delay is whole."""
STEP = 32
"""Samples of one value of the energy: 1 ms."""
JUST_BEFORE_S = (0.06, 0.004)
"""Stretch before a sound whose loudest moment it must rise over, seconds: what swells is a voice,
what rings on after an earlier knock is an echo."""
RISE_DB = 9.0
"""Least rise over it, decibels (working value)."""
APART_S = 0.03
"""Of sounds nearer to each other only the strongest is told, seconds."""
MOST = 200
"""Most sounds told of one film."""


@dataclass(frozen=True, slots=True)
class Heard:
    """A sharp sound: seconds from the first picture on the file's time line, rise in decibels."""

    time_s: float
    rise_db: float


def sharp_sounds(path: str, picture_start_s: float, limits: DecodeLimits) -> list[Heard] | None:
    """Return the sharp sounds of a film in order of time; None without a readable sound track.

    Parameters
    ----------
    path : str
    picture_start_s : float
        Time stamp of the first picture, seconds.
    limits : DecodeLimits
        Sound after ``duration_s`` is not read.
    """
    try:
        with av.open(path) as container:
            if not container.streams.audio or _codec(container) not in CODECS:
                return None
            pieces = list(_pieces(container, limits))
    except (av.error.FFmpegError, ValueError, MemoryError):
        # A film without usable sound is still a film.
        return None
    if not pieces:
        return None
    start = pieces[0][0]
    count = max(round((at - start) * RATE) + len(piece) for at, piece in pieces)
    if not 0 < count <= (limits.duration_s + 1.0) * RATE * 2:
        return None
    samples = np.zeros(count, np.float32)
    for at, piece in pieces:
        place = round((at - start) * RATE)
        samples[place : place + len(piece)] = piece[: count - place]
    return [
        Heard(start + time - picture_start_s, rise) for time, rise in onsets(samples, float(RATE))
    ]


def _codec(container: Any) -> str:
    context = container.streams.audio[0].codec_context
    return "" if context is None else str(context.codec.canonical_name)


def _pieces(container: Any, limits: DecodeLimits) -> Iterator[tuple[float, Array]]:
    """Yield the track at `RATE` as (time stamp in seconds, samples)."""
    stream = container.streams.audio[0]
    resampler = av.AudioResampler(format="flt", layout="mono", rate=RATE)
    first: float | None = None
    for frame in container.decode(stream):
        for part in resampler.resample(frame):
            if part.pts is None or part.time_base is None:
                continue
            at = float(part.pts * part.time_base)
            first = at if first is None else first
            if at < first - 1.0 or at - first > limits.duration_s:
                return
            yield max(at, first), part.to_ndarray().reshape(-1).astype(np.float32)


def onsets(samples: Array, rate: float) -> list[tuple[float, float]]:
    """Return (seconds, rise in decibels) of the sharp sounds in a signal.

    Parameters
    ----------
    samples : ndarray, shape (N,)
    rate : float
        Samples per second.
    """
    step = max(1, round(rate * STEP / RATE))
    energy = _energy(samples, rate, step)
    if len(energy) < 100:
        return []
    seconds = step / rate
    level = 10.0 * np.log10(energy + 1e-10)
    far, near = (round(s / seconds) for s in JUST_BEFORE_S)
    # the loudest moment of the stretch before, for every moment at once
    padded = np.concatenate([np.full(far, level[:far].max()), level])
    windows = np.lib.stride_tricks.sliding_window_view(padded, far - near)[: len(level)]
    rise = level - windows.max(axis=1)
    apart = max(1, round(APART_S / seconds))
    found: list[tuple[float, float]] = []
    order = np.argsort(-rise, kind="stable")
    taken = np.zeros(len(level), dtype=np.bool_)
    for i in order[: 50 * MOST]:
        if rise[i] < RISE_DB or len(found) >= MOST:
            break
        if taken[i]:
            continue
        taken[max(0, i - apart) : i + apart + 1] = True
        found.append((_begins(level, int(i)) * seconds, float(rise[i])))
    return sorted(found)


def _energy(samples: Array, rate: float, step: int) -> npt.NDArray[np.float64]:
    """Return the mean square of the band, one value per step."""
    n = np.arange(TAPS) - TAPS // 2
    low, high = (2.0 * f / rate for f in BAND_HZ)
    taps = (high * np.sinc(high * n) - low * np.sinc(low * n)) * np.hamming(TAPS)
    band = np.convolve(samples, taps.astype(np.float32), mode="same")
    whole = band[: len(band) // step * step].reshape(-1, step)
    return np.asarray(np.mean(whole.astype(np.float64) ** 2, axis=1))


def _begins(level: npt.NDArray[np.float64], peak: int) -> float:
    """Return where a sound begins, in steps: 6 dB under its greatest level, interpolated."""
    i = peak
    while i + 1 < len(level) and i < peak + 4 and level[i + 1] > level[i]:
        i += 1
    wanted = level[i] - 6.0
    while i > 0 and level[i - 1] > wanted:
        i -= 1
    below, above = level[max(i - 1, 0)], level[i]
    share = 0.0 if above <= below else float(np.clip((wanted - below) / (above - below), 0.0, 1.0))
    return i - 1 + share + 0.5
