"""Films of one body in threes: how much of the error do two films of one place share?

1. ``python -m tests.rendered films --profile same_body --seed 303 --count 72 --out FILMS``
2. ``python -m tests.rendered.same_body FILMS --cache TRACKS`` prints what a comparison says of the
   pairs; with ``--write workers/serve/repeat_table.py`` it also writes the table the engine reads.

The first two films of a body were taken from one camera place, put back by hand; one knob of the
motion was turned. The third shows the first serve from another view. Each body is
judged by shares that were worked out from all others.
"""

from __future__ import annotations

import argparse
import json
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy import stats

from models.contract.analysis import Analysis, Metric
from workers.cli.accuracy import joint_track, read_document
from workers.serve.engine import analyse
from workers.serve.interface import EngineRequest
from workers.serve.truth import ClipTruth, read_truth

from .one_knob import KNOBS
from .pairs import Tally, as_analysis, compared, count_knob, quiet

Z95 = 1.959964
PRIOR = 6.0
MIN_PAIRS = 8
"""A share that rests on fewer pairs is not written."""

HEAD = '''"""How much of a metric's error differs between films of one place. Generated, not edited.

Made by ``python -m tests.rendered.same_body`` from {bodies} bodies, filmed twice from one place,
one knob of the motion turned (``python -m tests.rendered films --profile same_body``).
``REPEAT``: metric to (share of its standard uncertainty, count of pairs of films).
"""

from __future__ import annotations

REPEAT: dict[str, tuple[float, int]] = {{
'''


@dataclass(frozen=True)
class Filmed:
    """One film, what the engine says of it, and what is true."""

    analysis: Analysis
    truth: ClipTruth


def name_of(metric: Metric) -> str:
    """Key and event in one word."""
    return metric.key + (f"@{metric.event.value}" if metric.event else "")


def read_bodies(folder: Path, cache: Path) -> list[tuple[int, list[Filmed]]]:
    """The bodies of a folder whose three films all show one serve; number and films."""
    films: dict[int, list[Filmed]] = defaultdict(list)
    for film in sorted(folder.glob("*.mp4")):
        document = read_document(film.with_suffix(".json"))
        truth = read_truth(document, film.stem)
        request = EngineRequest(stature_m=truth.stature_m)
        found = analyse(joint_track(film, truth, cache), request)
        if len(found.repetitions) == 1:
            films[int(film.stem) // 3].append(Filmed(as_analysis(found, document), truth))
    return [(number, three) for number, three in films.items() if len(three) == 3]


def errors(film: Filmed) -> dict[str, tuple[float, float]]:
    """Error and standard uncertainty of each value whose truth is known."""
    known = film.truth.repetitions[0].metrics
    return {
        name_of(m): (m.value - known[name_of(m)], (m.high - m.low) / (2 * Z95))
        for m in film.analysis.repetitions[0].metrics
        if m.value is not None and m.low is not None and m.high is not None and name_of(m) in known
    }


def shares(pairs: Iterable[tuple[Filmed, Filmed]]) -> dict[str, tuple[float, int]]:
    """Share of the standard uncertainty left between two films of one place, and its pairs.

    From the differences of the errors, in units of both uncertainties together: their mean square,
    drawn towards that of all metrics as if `PRIOR` pairs said so, then the upper 90 % confidence
    limit of a standard deviation (chi-square); at most 1. Few pairs must not promise too much.
    """
    found: dict[str, list[float]] = defaultdict(list)
    for one, two in pairs:
        a, b = errors(one), errors(two)
        for name in a.keys() & b.keys():
            both = float(np.hypot(a[name][1], b[name][1]))
            if both > 0:
                found[name].append((b[name][0] - a[name][0]) / both)
    together = float(np.median([np.mean(np.square(v)) for v in found.values()]))
    table = {}
    for name, values in sorted(found.items()):
        if len(values) >= MIN_PAIRS:
            count = len(values) + PRIOR
            square = (np.sum(np.square(values)) + PRIOR * together) / count
            limit = float(np.sqrt(square * count / stats.chi2.ppf(0.10, count)))
            table[name] = (round(min(limit, 1.0), 3), len(values))
    return table


def with_shares(film: Filmed, table: Mapping[str, tuple[float, int]]) -> Analysis:
    """The analysis with `Metric.repeat_sd` after a table."""

    def set_one(metric: Metric) -> Metric:
        row = table.get(name_of(metric))
        if row is None or metric.low is None or metric.high is None:
            return metric.model_copy(update={"repeat_sd": None})
        sd = row[0] * (metric.high - metric.low) / (2 * Z95)
        return metric.model_copy(update={"repeat_sd": sd})

    repetition = film.analysis.repetitions[0]
    metrics = tuple(set_one(m) for m in repetition.metrics)
    changed = repetition.model_copy(update={"metrics": metrics})
    return film.analysis.model_copy(update={"repetitions": (changed,)})


def judge(bodies: Sequence[tuple[int, list[Filmed]]]) -> Tally:
    """What a comparison says of each body's films, by shares from all other bodies."""
    tally = Tally()
    for number, films in bodies:
        table = shares((f[0], f[1]) for other, f in bodies if other != number)
        one, two, elsewhere = (with_shares(film, table) for film in films)
        knob = KNOBS[number % len(KNOBS)]
        count_knob(tally, knob, compared(one, two), (films[0].truth, films[1].truth))
        tally.refilmed += 1
        tally.refilmed_quiet += quiet(compared(one, elsewhere))
    return tally


def main() -> None:
    """Command line of this module."""
    parser = argparse.ArgumentParser(prog="python -m tests.rendered.same_body", description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--cache", type=Path, required=True)
    parser.add_argument("--write", type=Path)
    options = parser.parse_args()
    bodies = read_bodies(options.folder, options.cache)
    table = shares((films[0], films[1]) for _, films in bodies)
    if options.write:
        rows = "".join(f'    "{name}": {row},\n' for name, row in table.items())
        options.write.write_text(HEAD.format(bodies=len(bodies)) + rows + "}\n", "utf-8")
    print(json.dumps({"bodies": len(bodies), "shares": table} | judge(bodies).report(), indent=1))


if __name__ == "__main__":
    main()
