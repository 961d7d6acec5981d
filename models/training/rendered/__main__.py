"""Command line: `python -m models.training.rendered motion|films|errors`, see README.md."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path

from .clips import aim_camera, frame_times, make_performance, sampled_body
from .pose_error import error_lines
from .profiles import PROFILES, draw_clip
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


def main(arguments: list[str] | None = None) -> int:
    """Entry point; returns the exit code."""
    parser = argparse.ArgumentParser(prog="python -m models.training.rendered", description=__doc__)
    commands = parser.add_subparsers(dest="command", required=True)
    for name, profile in (("motion", "motion"), ("films", "calibration")):
        command = commands.add_parser(name)
        command.add_argument("--profile", choices=sorted(PROFILES), default=profile)
        command.add_argument("--seed", type=int, default=1)
        command.add_argument("--count", type=int, default=10)
        command.add_argument("--first", type=int, default=0, help="index of the first clip")
        command.add_argument("--out", type=Path, required=True)
    errors = commands.add_parser("errors", help="pose tracks (workers.pose) against the truth")
    errors.add_argument("--films", type=Path, required=True)
    errors.add_argument("--tracks", type=Path, required=True, help="NNN.npz for each NNN.mp4")
    options = parser.parse_args(arguments)
    if options.command == "errors":
        print("\n".join(error_lines(options.films, options.tracks)))
        return 0
    options.out.mkdir(parents=True, exist_ok=True)
    for index in range(options.first, options.first + options.count):
        path = options.out / f"{index:03d}.json"
        if path.exists():
            continue
        if options.command == "motion":
            write_truth(path, motion_truth(options.profile, options.seed, index))
        else:
            from .film import make_film

            make_film(options.profile, options.seed, index, options.out)
        print(path, file=sys.stderr)
    return 0


if __name__ == "__main__":
    sys.exit(main())
