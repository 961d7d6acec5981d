"""Command line: `python -m models.training.rendered motion|films|errors`, see README.md."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from .pose_error import error_lines
from .profiles import PROFILES
from .truth_file import motion_truth, write_truth


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
