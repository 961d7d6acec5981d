"""``python -m models.training sessions --page FILE``: what sessions filmed from two places give.

Sessions are drawn by a generator and seeds that nothing was chosen on; what the places of the
tuning generators err alike is printed with ``--tuning``.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from models.contract.interval import Z95
from models.contract.metrics.definition import metric_name
from models.training.views.session_page import put_in, section
from models.training.views.sessions import DrawnSession, sessions
from workers.decide.places import place_mean
from workers.learned import load

USE, GENERATOR, SEED = "report", "force_driven", 931
TUNING = (("train", "bumps", 811), ("train", "minimum_jerk", 812))
"""What the share of errors that places have alike was read from."""
ABOUT = (
    "Written by `python -m models.training sessions --count {count} --page "
    "infra/accuracy/views.md` (engine {engine}). Drawn tracks, not films: movements of the "
    "generator `{generator}` (seed {seed}), which nothing of the session's values was chosen on; "
    "the share of their errors that places have alike was read from `bumps` and `minimum_jerk`."
)


def main(arguments: Sequence[str] | None = None) -> int:
    """Command line; returns the exit code."""
    parser = argparse.ArgumentParser(prog="python -m models.training sessions")
    parser.add_argument("--count", type=int, default=20)
    parser.add_argument("--tuning", action="store_true", help="print what places err alike")
    parser.add_argument("--page", type=Path, help="page whose section is written")
    options = parser.parse_args(arguments)
    engine = load()
    if options.tuning:
        seen = [one for way in TUNING for one in sessions(engine, *way, options.count)]
        print(f"what places err alike, of their common variance: {alike(seen):.2f}")
        return 0
    found = []
    for session in sessions(engine, USE, GENERATOR, SEED, options.count):
        found.append(session)
        print(session.name, file=sys.stderr, flush=True)
    about = ABOUT.format(
        count=options.count, engine=engine.identity[:12], generator=GENERATOR, seed=SEED
    )
    text = section(found, about)
    if options.page is None:
        print(text)
    else:
        options.page.write_text(put_in(options.page.read_text("utf-8"), text), "utf-8")
    return 0


def alike(found: Sequence[DrawnSession]) -> float:
    """Return the mean product of two places' errors, in their stated common errors."""
    products = []
    for session in found:
        errors: list[dict[str, float]] = []
        for analyses, truths in zip(session.analyses, session.truths, strict=True):
            names = {
                metric_name(m.key, m.event): (m.key, m.event)
                for a in analyses
                for r in a.repetitions
                for m in r.metrics
            }
            mine = {}
            for name, slot in names.items():
                rows = [
                    (m, true[name])
                    for a, true in zip(analyses, truths, strict=True)
                    for r in a.repetitions
                    for m in r.metrics
                    if (m.key, m.event) == slot and m.measurable and name in true
                ]
                mean = place_mean([m for m, _ in rows])
                if mean is not None and mean.common > 0:
                    off = mean.mean - float(np.mean([true for _, true in rows]))
                    limit = Z95 * Z95  # one odd serve must not rule
                    mine[name] = float(np.clip(off / np.sqrt(mean.common), -limit, limit))
            errors.append(mine)
        products += [errors[0][name] * errors[1][name] for name in errors[0].keys() & errors[1]]
    return float(np.mean(products))


if __name__ == "__main__":
    sys.exit(main())
