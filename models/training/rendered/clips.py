"""Clip specifications, and what follows from one: performance, frame times, aimed camera."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from .camera import Camera, CameraSpec, make_camera
from .knobs import ServeKnobs
from .movements import generate
from .performance import Performance, perform
from .rotation import Array
from .served import ServedBall, with_served_ball
from .skeleton import Skeleton, sample_skeleton


@dataclass(frozen=True)
class ClipSpec:
    """Everything that decides a clip, apart from the body's proportions."""

    name: str
    kind: str
    seed: int
    knobs: ServeKnobs
    camera: CameraSpec
    fps: float = 60.0
    size: tuple[int, int] = (1280, 720)
    left_handed: bool = False
    count: int = 1
    variable_rate: bool = False
    slow_motion: float = 1.0  # the file plays this many times slower than life
    rotation: int = 0  # display rotation flag of the file, degrees clockwise
    shutter: float = 0.0  # seconds
    crf: int = 22
    background: str = "court"
    backlight: bool = False
    people: int = 1
    occlusion: str | None = None
    start: float = 0.5
    hold: float = 3.0
    slow: float = 2.2
    throw_elevation: float = 50.0
    generator: str = "template"  # of `movements.GENERATORS`; others have no use for the knobs
    day: int = 0  # the same person and court on another day: other clothes, other light
    anyone: bool = False  # bodies and clothes of every kind (`phenotypes`, `outfit.drawn_cut`)
    served: ServedBall | None = None  # how the struck ball leaves; else fixed, without drag
    after_finish: float | None = None  # seconds filmed after the first finish; None = all there is
    extra: dict[str, float] = field(default_factory=dict)


def make_performance(spec: ClipSpec, skeleton: Skeleton) -> Performance:
    """The clip's performance."""
    performance = _moved(spec, skeleton)
    return performance if spec.served is None else with_served_ball(performance, spec.served)


def _moved(spec: ClipSpec, skeleton: Skeleton) -> Performance:
    if spec.generator != "template":
        rng = np.random.default_rng([spec.seed, *map(ord, spec.generator)])
        performance = generate(spec.generator, skeleton, rng, spec.kind)
        return replace(performance, left_handed=spec.left_handed)
    return perform(
        spec.kind,
        skeleton,
        spec.knobs,
        count=spec.count,
        start=spec.start,
        hold=spec.hold,
        slow=spec.slow,
        seed=spec.seed,
        throw_elevation=spec.throw_elevation,
        left_handed=spec.left_handed,
    )


def frame_times(spec: ClipSpec, duration: float) -> Array:
    """Centres of the frames in seconds; uneven for a variable frame rate (a phone that drops
    frames).
    """
    frames = int(np.floor(duration * spec.fps))
    times = np.arange(frames) / spec.fps
    if spec.variable_rate:
        rng = np.random.default_rng(spec.seed)
        keep = rng.random(frames) > 0.08
        keep[0] = True
        times = times[keep] + np.where(
            np.arange(keep.sum()) > 0, rng.uniform(-0.15, 0.15, keep.sum()) / spec.fps, 0.0
        )
    return times


def aim_camera(spec: ClipSpec, performance: Performance, frames: int) -> Camera:
    """The clip's camera, aimed at the middle of the ground the body covers."""
    t = np.linspace(0.0, performance.duration, 40)
    hips = performance.motion.body(t).points["mid_hip"]
    middle = 0.5 * (hips.min(axis=0) + hips.max(axis=0))
    if spec.left_handed:
        middle = middle * np.array([1.0, -1.0, 1.0])
    return make_camera(spec.camera, middle, spec.left_handed, spec.size, frames)


def sampled_body(rng: np.random.Generator) -> Skeleton:
    """A person without a mesh."""
    return sample_skeleton(rng)
