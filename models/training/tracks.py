"""Joint tracks of films: ``python -m models.training tracks FILMS --cache TRACKS``.

An interrupted run goes on where it stopped. Files are named as ``servewright accuracy`` names
them, which reads the same folder.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

from models.contract.errors import ServewrightError
from workers.cli.accuracy import find_pairs, joint_track, read_document
from workers.engine.truth import read_truth


def main(arguments: Sequence[str] | None = None) -> int:
    """Command line; returns the exit code."""
    parser = argparse.ArgumentParser(prog="python -m models.training tracks")
    parser.add_argument("films", type=Path)
    parser.add_argument("--cache", type=Path, required=True)
    options = parser.parse_args(arguments)
    pairs = find_pairs(options.films)
    if not pairs:
        print(f"No film with a truth JSON beside it in {options.films}.", file=sys.stderr)
        return 4
    for film, truth in pairs:
        try:
            track = joint_track(film, read_truth(read_document(truth), film.stem), options.cache)
        except ServewrightError as error:
            print(f"{film.name}: {error.code}", file=sys.stderr)
        else:
            print(f"{film.name}: {len(track)} frames", file=sys.stderr)
    return 0


if __name__ == "__main__":
    sys.exit(main())
