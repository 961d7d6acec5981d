"""Sound tracks for rendered films: ``python -m models.training.rendered.sound FILMS --seed 1``.

Puts a track beside the pictures of each film of a folder and writes what is in it into the film's
truth, as ``sound``. Everything is synthesised: the ball being struck and bouncing, steps, wind,
voices that swell, and balls struck on other courts, each as late as its distance makes it
(343 m/s). How loud they are against each other is a working value; none is recorded.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np

Array = np.ndarray[Any, np.dtype[Any]]

RATE = 44_100
"""Samples per second."""
SPEED_M_S = 343.0
"""Speed of sound in air of 20 degrees (ISO 9613-1)."""
OTHER_COURTS_PER_S = 0.4
"""Balls struck on other courts (working value)."""
STEP_LEVEL, BOUNCE_LEVEL = 0.05, 0.35
"""Against a struck ball at the same distance (working values)."""


def impact(rng: np.random.Generator, length_s: float = 0.08) -> Array:
    """A struck ball at one metre: strings and ball ring at 0.6 to 4 kHz and die within 20 ms."""
    t = np.arange(round(length_s * RATE)) / RATE
    rise = np.minimum(t / 0.0005, 1.0)
    ring = sum(
        rng.uniform(0.3, 1.0)
        * np.sin(2.0 * np.pi * f * t + rng.uniform(0.0, 6.3))
        * np.exp(-t / decay)
        for f, decay in (
            (rng.uniform(500.0, 700.0), 0.018),
            (rng.uniform(1200.0, 1800.0), 0.009),
            (rng.uniform(2400.0, 4000.0), 0.005),
        )
    )
    crack = rng.normal(0.0, 1.0, len(t)) * np.exp(-t / 0.003)
    return np.asarray(rise * (ring + crack))


def step(rng: np.random.Generator) -> Array:
    """A foot on the ground at one metre: a dull thud, slow to rise."""
    t = np.arange(round(0.12 * RATE)) / RATE
    noise = _smooth(rng.normal(0.0, 1.0, len(t)), 90)
    return np.asarray(6.0 * noise * (t / 0.015) * np.exp(1.0 - t / 0.015))


def wind(rng: np.random.Generator, count: int) -> Array:
    """Rumble that comes and goes."""
    gusts = 0.4 + _smooth(rng.uniform(0.0, 1.2, count // 4410 + 2).repeat(4410)[:count], 8820)
    return np.asarray(gusts * _smooth(rng.normal(0.0, 1.0, count), 120) * 4.0)


def voice(rng: np.random.Generator, count: int) -> Array:
    """Somebody talking: harmonics of a pitch that swell within a tenth of a second."""
    t = np.arange(count) / RATE
    pitch = rng.uniform(110.0, 230.0)
    syllables = np.maximum(np.sin(2.0 * np.pi * rng.uniform(2.5, 4.0) * t), 0.0) ** 2
    tone = sum(np.sin(2.0 * np.pi * pitch * k * t) / k for k in range(1, 24))
    return np.asarray(syllables * tone)


def track(truth: dict[str, Any], seed: int) -> tuple[Array, dict[str, Any]]:
    """Return samples (N,) within -1..1 of a film, and what is in them.

    Times of ``truth["sound"]`` are those at the microphone, seconds.
    """
    rng = np.random.default_rng([seed, 5])
    frames = truth.get("frame_times_s")
    last = frames[-1] if frames else (truth["n_frames"] - 1) / truth["fps"]
    count = round((last + 0.3) * RATE)
    place = np.asarray(truth["camera"]["position"], np.float64)
    out = 0.02 * wind(rng, count) * rng.uniform(0.2, 2.0)
    if rng.random() < 0.5:
        out = out + 0.02 * voice(rng, count) * rng.uniform(0.3, 2.0)
    struck, others, steps = [], [], []

    def put(when: float, where: Array, sound: Array, level: float) -> float:
        distance = max(float(np.linalg.norm(where - place)), 1.0)
        heard = when + distance / SPEED_M_S
        at = round(heard * RATE)
        part = sound[: max(0, count - at)]
        out[at : at + len(part)] += level * part * 5.0 / distance
        return round(heard, 5)

    hips = np.asarray(truth["joints3d"], np.float64).mean(axis=(0, 1))
    for serve in truth["serves"]:
        times = serve["event_times_s"]
        if any(ball is not None for ball in truth["ball"]):
            struck.append(put(times["contact"], hips + np.array([0.0, 0.0, 1.6]), impact(rng), 1.0))
        for after in (0.28, 0.55):
            steps.append(put(times["contact"] + after, hips, step(rng), STEP_LEVEL))
    for when in rng.uniform(0.0, last, rng.poisson(OTHER_COURTS_PER_S * last)):
        away = hips + rng.normal(0.0, 1.0, 3) * [25.0, 25.0, 0.0]
        others.append(put(float(when), away, impact(rng), rng.uniform(0.5, 1.2)))
    out = out + rng.normal(0.0, 10.0 ** rng.uniform(-4.0, -2.3), count)
    content = {"struck_s": struck, "other_courts_s": sorted(others), "steps_s": steps}
    return out / max(1.0, 1.05 * float(np.max(np.abs(out)))), content


def add(film: Path, samples: Array) -> None:
    """Put a track into a film; its pictures stay as they are, bit for bit."""
    made = film.with_suffix(".sound.mp4")
    with av.open(str(film)) as source, av.open(str(made), "w") as out:
        pictures = source.streams.video[0]
        copied = out.add_stream_from_template(pictures)
        audio: Any = out.add_stream("aac", rate=RATE, layout="mono")
        for packet in source.demux(pictures):
            if packet.dts is not None:
                packet.stream = copied
                out.mux(packet)
        for start in range(0, len(samples), 1024):
            piece = np.ascontiguousarray(samples[None, start : start + 1024], np.float32)
            frame = av.AudioFrame.from_ndarray(piece, format="fltp", layout="mono")
            frame.sample_rate, frame.time_base, frame.pts = RATE, Fraction(1, RATE), start
            out.mux(audio.encode(frame))
        out.mux(audio.encode(None))
    made.replace(film)


def main(arguments: Sequence[str] | None = None) -> int:
    """Command line; films that have a track already, or play slowly, are left as they are."""
    parser = argparse.ArgumentParser(prog="python -m models.training.rendered.sound")
    parser.add_argument("films", type=Path)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args(arguments)
    for number, film in enumerate(sorted(options.films.glob("[0-9]*.mp4"))):
        path = film.with_suffix(".json")
        if not path.exists():
            continue
        truth = json.loads(path.read_text("utf-8"))
        if "sound" in truth or truth.get("time_scale", 1.0) != 1.0:
            continue
        samples, content = track(truth, options.seed * 1000 + number)
        add(film, samples)
        path.write_text(json.dumps(truth | {"sound": content}), "utf-8")
        print(film, file=sys.stderr)
    return 0


def _smooth(values: Array, width: int) -> Array:
    """Moving average over a window."""
    total = np.cumsum(np.pad(values, (width // 2, width - width // 2), mode="edge"))
    return np.asarray((total[width:] - total[:-width]) / width)


if __name__ == "__main__":
    sys.exit(main())
