"""``python -m models.training views [LAB] --out FILE``: what two films of one serve give.

Pairs are drawn by a generator and a seed that nothing was chosen on. LAB, when given, holds the
laboratory films, their truth and no more; their joints are found once and kept beside ``--cache``.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from pathlib import Path

from models.training.real.__main__ import film_track
from models.training.real.lab import read_laboratory
from models.training.views.bodies import ValueFound, bodies_of
from models.training.views.laboratory import LabPair, pairs_of
from models.training.views.measure import RIGHT, Tried, cases, tried
from models.training.views.page import LABORATORY, page
from models.training.views.session_page import TITLE, put_in, section_of
from workers.learned import load

USE, GENERATOR, SEED = "report", "force_driven", 901
"""What the report is drawn with; constants were chosen on use ``train``, generators ``bumps`` and
``minimum_jerk``, seeds 501, 601 and 701."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Command line; returns the exit code."""
    parser = argparse.ArgumentParser(prog="python -m models.training views")
    parser.add_argument("laboratory", type=Path, nargs="?")
    parser.add_argument("--count", type=int, default=60)
    parser.add_argument("--wrong", type=int, default=10, help="serves with wrong pairs as well")
    parser.add_argument("--bodies", type=int, default=20, help="right pairs with a body")
    parser.add_argument("--cache", type=Path, default=Path("REAL_TRACKS"))
    parser.add_argument("--bounds", type=Path, default=Path("infra/accuracy/bounds_two_views.json"))
    parser.add_argument("--out", type=Path)
    options = parser.parse_args(arguments)
    learned = load().learned
    landmarks = learned.landmarks
    found: list[Tried] = []
    values: list[ValueFound] = []
    for case, pair in cases(USE, GENERATOR, SEED, options.count, wrong=options.wrong):
        found.append(tried(case, pair, landmarks))
        if case == RIGHT and sum(one.case == RIGHT for one in found) <= options.bodies:
            values += bodies_of(found[-1], learned)
        print(f"{pair.dense.name}: {case}", file=sys.stderr, flush=True)
    real: list[LabPair] = []
    if options.laboratory is not None:
        laboratory = read_laboratory(options.laboratory / "truth.json")
        tracks = {
            camera.name: film_track(options.laboratory / f"{camera.name}.mp4", options.cache)
            for camera in laboratory.cameras
        }
        real = pairs_of(laboratory, tracks, landmarks)
    known = options.bounds.exists()
    bounds = json.loads(options.bounds.read_text("utf-8"))["bounds"] if known else ()
    text = page(found, values, real, {row["metric"]: row for row in bounds})
    if options.out is None:
        print(text)
    else:
        earlier = options.out.read_text("utf-8") if options.out.exists() else ""
        for title in (TITLE,) if real else (LABORATORY, TITLE):
            kept = section_of(earlier, title)
            text = text if kept is None else put_in(text, kept)
        options.out.write_text(text, "utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
