"""The table of event errors: ``python -m models.training events --out FILE``.

Each movement is filmed at each rate in several ways: by joints alone, with the ball, with sound.
The width is that of the worst way of moving, so that it holds for one that nobody measured.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections import defaultdict
from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np

from models.contract.vocabulary import RepetitionKind
from workers.engine.event_errors import RATES
from workers.engine.events import locate

from .dense import Dense, serves
from .films import OF_BODY, body_rows, kept_rows, serves_events
from .seen import show

WAYS = ((False, False), (True, False), (True, True), (False, True))
"""With ball, with sound."""
LEAST = 12
"""Errors from which a row is written."""
Z95 = 1.96
LEAST_FACTOR = 1.0
"""What evidence says of itself is never narrowed: simulated films are kinder than films."""

Errors = dict[tuple[str, str, float], list[tuple[str, float, float]]]
"""(event, main source, rate) to (way of moving, error in seconds, standard uncertainty)."""


def errors_of(movements: Iterable[tuple[str, Dense]], seed: int) -> Errors:
    """Film every movement at every rate in every way; collect the errors of its events."""
    found: Errors = defaultdict(list)
    for number, (kind, dense) in enumerate(movements):
        rng = np.random.default_rng([seed, number])
        for fps in RATES:
            for ball, sound in WAYS:
                shown = show(dense, fps, rng, ball=ball, sound=sound)
                located = locate(
                    shown.motion,
                    RepetitionKind.SERVE,
                    shown.witness,
                    evidence=shown.evidence,
                    film=shown.film,
                )
                for event, instant in located.events.items():
                    if event.value in shown.events and instant.method not in OF_BODY:
                        main = instant.method.split("+")[0]
                        error = instant.time_s - shown.events[event.value]
                        found[event.value, main, fps].append((kind, error, instant.sd_s))
    return found


def table(errors: Errors) -> list[tuple[str, str, float, float, float, float, int]]:
    """Return rows (event, source, rate, bias, factor, share within, count)."""
    rows = []
    for (event, source, fps), all_ in sorted(errors.items()):
        if len(all_) < LEAST:
            continue
        kinds = sorted({kind for kind, _, _ in all_})
        means = np.array([np.median([e for k, e, _ in all_ if k == kind]) for kind in kinds])
        # what ways of moving share is a bias, what parts them is doubt
        apart = float(np.var(means, ddof=1)) if len(means) > 1 else float(means[0] ** 2)
        middle = float(np.mean(means))
        bias = middle * middle**2 / max(middle**2 + apart, 1e-12)
        ratios = {
            kind: np.array([abs(e - bias) / s for k, e, s in all_ if k == kind]) for kind in kinds
        }
        pooled = np.concatenate(list(ratios.values()))
        factor = float(np.quantile(pooled, 0.95)) / Z95
        many = [r for r in ratios.values() if len(r) >= LEAST // 2]
        worst = max((float(np.quantile(r, 0.9)) for r in many), default=0.0)
        factor = max(factor, worst / Z95, LEAST_FACTOR)
        inside = int(np.sum(pooled <= Z95 * factor))
        share = (inside + 1.0) / (len(pooled) + 2.0)
        values = (round(bias, 5), round(factor, 3), round(share, 3))
        rows.append((event, source, fps, *values, len(pooled)))
    return rows


def main(arguments: Sequence[str] | None = None) -> int:
    """Command line; returns the exit code."""
    parser = argparse.ArgumentParser(prog="python -m models.training events")
    parser.add_argument("--profiles", nargs="+", default=["motion"])
    parser.add_argument("--seed", type=int, default=41)
    parser.add_argument("--count", type=int, default=60, help="serves of each profile")
    parser.add_argument("--events", nargs="+", default=["contact"], help="events to write")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--about", default="films measured as reported", help="which films")
    parser.add_argument(
        "--measured",
        type=Path,
        nargs="+",
        help="folders of `measure --as-reported`: only rows of --sources in --out are made anew",
    )
    parser.add_argument("--sources", nargs="+", choices=OF_BODY, default=OF_BODY)
    options = parser.parse_args(arguments)
    if options.measured:
        about, kept = kept_rows(options.out, options.sources)
        found = body_rows(serves_events(options.measured))
        found = [row for row in found if row[1] in options.sources]
        named = ", ".join(options.sources)
        write(options.out, sorted(kept + found), f"{about}; {named}: {options.about}")
        return 0
    movements = [
        (profile, dense)
        for profile in options.profiles
        for dense in serves(profile, options.seed, options.count)
    ]
    rows = [row for row in table(errors_of(movements, options.seed)) if row[0] in options.events]
    about = f"profiles {', '.join(options.profiles)}, seed {options.seed}, {len(movements)} serves"
    write(options.out, rows, about)
    print(f"{options.out}: {len(rows)} rows", file=sys.stderr)
    return 0


def write(
    path: Path, rows: Sequence[tuple[str, str, float, float, float, float, int]], about: str
) -> None:
    """Write the file that `workers.learned` reads, a row a line."""
    lines = ",\n".join("  " + json.dumps(row) for row in rows)
    path.write_text(
        f'{{\n "about": {json.dumps(about)},\n "events": [\n{lines}\n ]\n}}\n', encoding="utf-8"
    )


if __name__ == "__main__":
    sys.exit(main())
