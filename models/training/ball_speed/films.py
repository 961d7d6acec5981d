"""Serves filmed with a ball of known speed, by place of the camera and frame rate.

Pictures of the quick renderer, real H.264 films. Two sets that share neither way of moving nor
seed: ``tune`` (movements of key postures) and ``report`` (movements drawn from forces), of which
nothing was chosen.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from models.training.bulk.look import Look
from models.training.bulk.quick_film import QuickFilm
from models.training.rendered.backdrop import make_backdrop
from models.training.rendered.camera import CameraSpec
from models.training.rendered.cast import cast
from models.training.rendered.clips import ClipSpec, aim_camera, frame_times
from models.training.rendered.encode import Encoder
from models.training.rendered.knobs import sample_knobs
from models.training.rendered.profiles import VIEWS
from models.training.rendered.served import ServedBall
from models.training.rendered.truth import clip_truth
from models.training.rendered.truth_file import write_truth

SETS = {"tune": ("template", 5101), "report": ("force_driven", 7307)}
"""Way of moving, and seed."""
AFTER_S = 0.8
"""Films end so long after contact, seconds: the follow-through is in them."""
PLACES = (
    *("side", "rear-quarter", "side", "front-quarter", "back-side", "side", "rear-quarter"),
    *("side", "front-quarter", "behind", "side", "rear-quarter", "front", "front-quarter"),
)
"""Places of the camera, in turn."""
RATES = (60.0, 120.0, 60.0, 60.0, 120.0, 60.0, 120.0, 60.0, 30.0)
"""Frames a second, in turn; nine and fourteen have no common divisor, so all meet."""
SLOWEST, FASTEST = 25.0, 62.0
"""m/s: serves of children to the fastest of men (common knowledge, no source)."""


@dataclass(frozen=True)
class Drawn:
    """One film to be made."""

    spec: ClipSpec
    place: str


def drawn(use: str, index: int) -> tuple[Drawn, np.random.Generator]:
    """What film `index` of a set is, and the generator it goes on with."""
    generator, seed = SETS[use]
    rng = np.random.default_rng([seed, index])
    place, fps = PLACES[index % len(PLACES)], RATES[index % len(RATES)]
    low, high = VIEWS[place]
    camera = CameraSpec(
        azimuth=float(rng.uniform(low, high)) % 360.0,
        height=float(rng.uniform(0.9, 2.0)),
        distance=float(rng.uniform(5.5, 12.0)),
        roll=float(rng.normal(0.0, 1.0)),
        fill=float(rng.uniform(0.75, 0.95)),
        shift=float(rng.uniform(-0.06, 0.12)),
    )
    speed = float(rng.uniform(SLOWEST, FASTEST))
    side = float(rng.choice([-1.0, 1.0]))
    way = ServedBall(
        speed=speed,
        bounce=(float(rng.uniform(15.0, 18.0)), side * float(rng.uniform(0.3, 3.8))),
        spin=float(rng.uniform(50.0, 350.0)),
        drag=float(rng.uniform(0.48, 0.65)),
    )
    spec = ClipSpec(
        name=f"{index:03d}",
        kind="serve",
        seed=int(rng.integers(1 << 31)),
        knobs=sample_knobs(rng),
        camera=camera,
        fps=fps,
        size=(720, 1280) if rng.random() < 0.12 else (1280, 720),
        left_handed=bool(rng.random() < 0.25),
        shutter=min(1.0 / float(rng.choice([1000.0, 500.0, 250.0, 120.0])), 0.9 / fps),
        crf=int(rng.integers(20, 26)),
        background=str(rng.choice(["court", "court", "fence", "indoor"])),
        start=0.35,
        generator=generator,
        served=way,
    )
    return Drawn(spec, place), rng


def make(use: str, index: int, folder: Path) -> Path:
    """Film one serve: NNN.mp4, then NNN.json, which marks it as done."""
    cv2.setNumThreads(1)
    chosen, rng = drawn(use, index)
    spec = chosen.spec
    actors = cast(spec, rng)
    performance = actors[0].performance
    contact = max(r.knots["contact"] for r in performance.repetitions)
    times = frame_times(spec, min(performance.duration, contact + AFTER_S))
    camera = aim_camera(spec, performance, len(times))
    backdrop = make_backdrop(camera, spec.background, spec.backlight, rng, factor=1)
    film = QuickFilm(spec, actors, camera, backdrop, Look.drawn(spec.size, rng))
    path = folder / f"{spec.name}.mp4"
    part = path.with_suffix(".part.mp4")
    with Encoder(part, spec, times) as encoder:
        for picture in film.frames(times):
            encoder.write(picture)
    part.replace(path)
    truth: dict[str, Any] = clip_truth(performance, camera, times, spec.fps)
    truth |= {"place": chosen.place, "shutter_s": spec.shutter}
    truth_path = path.with_suffix(".json")
    write_truth(truth_path, json.loads(json.dumps(truth)))
    return truth_path
