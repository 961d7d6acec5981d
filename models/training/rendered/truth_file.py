"""Truth files: how a clip was asked for, and what was true in it."""

from __future__ import annotations

import json
from pathlib import Path

from .clips import aim_camera, frame_times, make_performance, sampled_body
from .profiles import draw_clip
from .truth import clip_truth


def write_truth(path: Path, truth: dict[str, object]) -> None:
    """Write a truth file whole or not at all."""
    part = path.with_suffix(".part")
    part.write_text(json.dumps(truth, separators=(",", ":")), encoding="utf-8")
    part.replace(path)


def motion_truth(profile: str, seed: int, index: int) -> dict[str, object]:
    """Truth of one clip that is never filmed: joints, projections, events, metrics."""
    spec, rng = draw_clip(profile, seed, index)
    performance = make_performance(spec, sampled_body(rng))
    times = frame_times(spec, performance.duration)
    truth = clip_truth(performance, aim_camera(spec, performance, len(times)), times, spec.fps)
    return truth | clip_notes(profile, seed, index)


def clip_notes(profile: str, seed: int, index: int) -> dict[str, object]:
    """The part of the truth that says how the clip was asked for."""
    spec, _ = draw_clip(profile, seed, index)
    return {
        "clip": spec.name,
        "profile": profile,
        "seed": seed,
        "spec": {
            "kind": spec.kind,
            "fps": spec.fps,
            "size": list(spec.size),
            "count": spec.count,
            "seed": spec.seed,
        },
        "feet_out_of_frame": spec.camera.floor > 0,
        "n_people": spec.people,
        "shutter_s": spec.shutter,
        "crf": spec.crf,
        "time_scale": spec.slow_motion,
        "rotation": spec.rotation,
        "background": spec.background,
        "occlusion": spec.occlusion,
        "variable_rate": spec.variable_rate,
    }
