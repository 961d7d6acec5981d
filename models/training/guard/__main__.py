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
DISTURBED = (1, 2, 3, 4)
"""Seeds of the runs on disturbed tracks."""


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


def write_limits() -> None:
    """Measure, also on disturbed tracks, and write the limits."""
    from models.training.guard.checks import LIMITS, figures, limits_of, limits_text
    from models.training.guard.measured import measure_all

    base = figures(measure_all())
    runs = [figures(measure_all(disturb=seed)) for seed in DISTURBED]
    LIMITS.write_text(limits_text(base, limits_of(base, runs)), "utf-8")
    print(LIMITS, file=sys.stderr)


def try_mutations(part: str) -> int:
    """Print what the guard makes of each mutation; 1 if one is not noticed."""
    from models.training.guard.checks import read_limits
    from models.training.guard.mutations import MUTATIONS, remembered_bodies, try_mutation

    limits = read_limits()
    missed = 0
    print("| mutation | caught | checks failed | worst |\n| --- | --- | --- | --- |", flush=True)
    with remembered_bodies():
        for name in MUTATIONS:
            if part in name:
                failed = try_mutation(name, limits).failed
                missed += not failed
                worst = str(failed[0]) if failed else ""
                said = "yes" if failed else "NO"
                print(f"| {name} | {said} | {len(failed)} of {len(limits)} | {worst} |", flush=True)
    return 1 if missed else 0


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
    commands.add_parser("limits", help="write limits.json anew from what is measured now")
    mutate = commands.add_parser("mutate", help="put errors into the engine; is each noticed?")
    mutate.add_argument("--only", help="mutations whose name holds this")
    options = parser.parse_args(arguments)
    if options.command == "limits":
        write_limits()
        return 0
    if options.command == "mutate":
        return try_mutations(options.only or "")
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
