"""Command line: ``python -m models.training.guard freeze|values|compare``."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path

from models.training.guard.frozen import FILMS, TRACKS, pack
from models.training.guard.values import all_values, differences

KEPT = ("000", "001", "002", "003", "004", "005", "007", "009", "010", "011", "012", "014", "019")
"""All four camera positions, both hands, 30, 60 and 120 frames per second, three serves in one
film, walking, slow motion, a hold, a shadow repetition, a throw, a net in front."""


def freeze(cache: Path) -> None:
    """Run the pose networks on the films and keep their joint tracks."""
    from workers.cli.accuracy import joint_track, read_document
    from workers.engine.truth import read_truth

    TRACKS.mkdir(exist_ok=True)
    for name in KEPT:
        film = FILMS / f"{name}.mp4"
        truth = read_truth(read_document(film.with_suffix(".json.gz")), name)
        (TRACKS / f"{name}.npz").write_bytes(pack(joint_track(film, truth, cache)))
        print(TRACKS / f"{name}.npz", file=sys.stderr)


def main(arguments: list[str] | None = None) -> int:
    """Entry point; returns the exit code."""
    parser = argparse.ArgumentParser(prog="python -m models.training.guard", description=__doc__)
    commands = parser.add_subparsers(dest="command", required=True)
    frozen = commands.add_parser("freeze", help="films to frozen joint tracks")
    frozen.add_argument("--cache", type=Path, default=Path("accuracy-cache"))
    values = commands.add_parser("values", help="every value of the engine on the frozen tracks")
    values.add_argument("--out", type=Path, help="JSON file; else standard output")
    compare = commands.add_parser("compare", help="values now against a file of earlier ones")
    compare.add_argument("old", type=Path)
    options = parser.parse_args(arguments)
    if options.command == "freeze":
        freeze(options.cache)
        return 0
    now = json.loads(json.dumps(all_values()))
    if options.command == "compare":
        found = list(differences(json.loads(options.old.read_text("utf-8")), now))
        print("\n".join(found) if found else "no difference")
        return 1 if found else 0
    text = json.dumps(now, indent=1) + "\n"
    if options.out is None:
        sys.stdout.write(text)
    else:
        options.out.write_text(text, "utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
