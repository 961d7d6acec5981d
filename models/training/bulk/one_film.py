"""One film of a set: drawn, rendered, seen by the networks, as compact arrays."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import cv2
import numpy as np

from models.contract.errors import NoPerson
from models.training.rendered.backdrop import make_backdrop
from models.training.rendered.camera import Camera
from models.training.rendered.cast import cast
from models.training.rendered.clips import ClipSpec, aim_camera, frame_times
from models.training.rendered.performance import Performance
from models.training.rendered.profiles import draw_clip
from models.training.rendered.rotation import Array
from models.training.rendered.truth import JOINTS, event_times, joints_of
from workers.pose.networks import COCO_TO_LANDMARK

from .look import Look
from .quick_film import QuickFilm
from .seen import seen
from .stored import METRE, PIXEL, SURE, stored

TALLEST, SHORTEST = 300.0, 200.0
"""Height of the standing person in the picture, pixels: the networks see crops of 256, in which
the person is about 150 high."""
FASTEST = 60.0
"""Films with more frames a second are drawn with so many: frames in between cost most and teach
least."""


def small(
    spec: ClipSpec, stature: float, rng: np.random.Generator, fastest: float = FASTEST
) -> ClipSpec:
    """The clip with a picture just large enough for its person."""
    width, height = spec.size
    camera = spec.camera
    share = camera.fill * stature / camera.tall
    if width < height:
        share = min(share, stature * width / height / 2.2)
    wanted = float(rng.uniform(SHORTEST, TALLEST)) / share
    factor = min(1.0, wanted / height)
    size = (2 * round(width * factor / 2), 2 * round(height * factor / 2))
    camera = replace(camera, jitter=camera.jitter * factor)
    return replace(spec, size=size, camera=camera, fps=min(spec.fps, fastest), rotation=0)


def film(
    profile: str, seed: int, index: int, *, fastest: float = FASTEST, pictures: bool = False
) -> dict[str, Any]:
    """The arrays of one film; see README.md. With `pictures`, also the rendered frames."""
    cv2.setNumThreads(1)
    spec, rng = draw_clip(profile, seed, index)
    actors = cast(spec, rng)
    performance = actors[0].performance
    skeleton = performance.motion.skeleton
    spec = small(spec, skeleton.height, rng, fastest)
    times = frame_times(spec, performance.duration)
    camera = aim_camera(spec, performance, len(times))
    backdrop = make_backdrop(camera, spec.background, spec.backlight, rng, factor=1)
    look = Look.drawn(spec.size, rng)
    drawn = list(QuickFilm(spec, actors, camera, backdrop, look).frames(times))
    out = truth_arrays(spec, performance, camera, times)
    out["notes"] = json.dumps(
        {
            "profile": profile,
            "seed": seed,
            "index": index,
            "look": look.describe(),
            "camera": camera.describe(),
            "spec": {"fps": spec.fps, "shutter": spec.shutter, "people": spec.people},
            "phenotype": skeleton.phenotype,
        }
    )
    out |= seen_arrays(drawn, times)
    if pictures:
        out["pictures"] = np.stack(drawn)
    return out


def truth_arrays(
    spec: ClipSpec, performance: Performance, camera: Camera, times: Array
) -> dict[str, Any]:
    """What was true in the film."""
    skeleton = performance.motion.skeleton
    joints = joints_of(performance, performance.motion.body(times))
    rows = [
        (k, name, at)
        for k, repetition in enumerate(performance.repetitions)
        for name, at in event_times(performance, repetition).items()
    ]
    return {
        "time_s": times.astype(np.float32),
        "joints3d": stored(joints, METRE),
        "joints2d": stored(camera.project(joints), PIXEL),
        "camera_r": camera.rotation.astype(np.float32),
        "camera_at": camera.position.astype(np.float32),
        "camera_k": np.array([camera.focal, camera.k1, camera.width, camera.height], np.float32),
        "azimuth_deg": np.float32(camera.azimuth),
        "stature_m": np.float32(skeleton.height),
        "gender": np.float32(skeleton.gender),
        "left_handed": np.bool_(performance.left_handed),
        "kind": performance.negative or performance.repetitions[0].kind,
        "generator": spec.generator,
        "fps": np.float32(spec.fps),
        "event_repetition": np.array([row[0] for row in rows], np.int16),
        "event_name": np.array([row[1] for row in rows], "U16"),
        "event_s": np.array([row[2] for row in rows], np.float32),
        "joint_names": np.array(JOINTS),
    }


def seen_arrays(drawn: list[np.ndarray], times: Array) -> dict[str, Any]:
    """What both networks saw; rows of NaN where they saw nobody."""
    try:
        rows = seen(drawn, times)
    except NoPerson:
        rows = []
    count = len(drawn)
    first = np.stack([r.blaze for r in rows]) if rows else np.full((count, 33, 3), np.nan)
    second = np.stack([r.second for r in rows]) if rows else np.full((count, 33, 3), np.nan)
    second = second[:, list(COCO_TO_LANDMARK)]
    world = np.stack([r.world for r in rows]) if rows else np.full((count, 33, 3), np.nan)
    return {
        "first_px": stored(first[..., :2], PIXEL),
        "first_sure": stored(first[..., 2], SURE),
        "second_px": stored(second[..., :2], PIXEL),
        "second_sure": stored(second[..., 2], SURE),
        "world": stored(world, METRE),
        "score": stored(np.array([r.score for r in rows] or [0.0] * count), SURE),
    }
