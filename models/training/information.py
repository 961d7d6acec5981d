"""How much of what is true is told, beside what could be: r2, slope, error by metric, position.

``python -m models.training information ERRORS --bounds infra/accuracy/bounds.json --films-bounds
infra/accuracy/bounds_films.json --out PAGE`` reads what ``measure --as-reported`` wrote.
"""

from __future__ import annotations

import argparse
import json
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType

import numpy as np

from models.contract.vocabulary import RepetitionKind, View
from models.training.packed_measure import read_errors
from workers.engine.accuracy import MetricError
from workers.engine.calibration import work_name

EVERYWHERE = "all"
LEAST = 12
"""Fewest values of a row."""


@dataclass(frozen=True)
class Row:
    """One metric of one kind of work from one position."""

    name: str
    view: str
    count: int
    reported: int
    r2: float
    slope: float
    bias: float
    mae: float
    blind: float
    held: float
    bound_r2: float | None = None
    bound_mae: float | None = None
    films_r2: float | None = None
    films_mae: float | None = None


Bounds = Mapping[tuple[str, str], tuple[float, float]]


def read_bounds(path: Path) -> Bounds:
    """Bounds by metric and position: r2 and mean absolute error."""
    rows = json.loads(path.read_text("utf-8"))["bounds"]
    return {(row["metric"], row["view"]): (row["r2"], row["mae"]) for row in rows}


def rows_of(
    errors: Iterable[MetricError], bounds: Bounds, of_films: Bounds = MappingProxyType({})
) -> list[Row]:
    """One row a metric, kind of work and position that has enough values."""
    groups: dict[tuple[str, str], list[MetricError]] = defaultdict(list)
    for error in errors:
        for view in (error.view.value, EVERYWHERE):
            groups[work_name(error.name, error.kind), view].append(error)
    found = []
    for (name, view), mine in sorted(groups.items()):
        shown = [e for e in mine if e.value is not None]
        if len(shown) < LEAST:
            continue
        true = np.array([e.truth for e in shown])
        told = np.array([e.value for e in shown], dtype=np.float64)
        varied = true.std() > 1e-9 and told.std() > 1e-9
        bound = bounds.get((name, view), (None, None))
        here = of_films.get((name, view), (None, None))
        found.append(
            Row(
                name=name,
                view=view,
                count=len(mine),
                reported=len(shown),
                r2=float(np.corrcoef(true, told)[0, 1] ** 2) if varied else 0.0,
                slope=float(np.polyfit(true, told, 1)[0]) if varied else 0.0,
                bias=float(np.mean(told - true)),
                mae=float(np.mean(np.abs(told - true))),
                blind=float(np.mean(np.abs(true - true.mean()))),
                held=float(np.mean([bool(e.covered) for e in shown])),
                bound_r2=bound[0],
                bound_mae=bound[1],
                films_r2=here[0],
                films_mae=here[1],
            )
        )
    return found


def page(rows: Sequence[Row], about: str) -> str:
    """The rows as a Markdown page."""
    told = [r for r in rows if r.view == EVERYWHERE]
    held = np.average([r.held for r in told], weights=[r.reported for r in told])
    lines = [
        "# How much of a player a value tells",
        "",
        f"{about} Squared correlation (r²) and slope of measured on true value, mean absolute "
        "error, and what the best of estimators could reach (`python -m models.training bound`) on "
        "movements of the same generator: from landmarks with the errors that were measured on a "
        "real person, and with those of these films (*here*). 95 % intervals held the truth in "
        f"{100 * held:.1f} % of all values.",
        "",
        "| metric | from | values (of) | r² | bound | here | slope | error | bound | here | "
        "blind guess | bias | interval holds |",
        "|---|---|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|",
    ]
    for r in rows:
        cells = [
            f"`{r.name}`",
            r.view.replace("_", " "),
            f"{r.reported} ({r.count})",
            f"{r.r2:.2f}",
            "–" if r.bound_r2 is None else f"{r.bound_r2:.2f}",
            "–" if r.films_r2 is None else f"{r.films_r2:.2f}",
            f"{r.slope:.2f}",
            f"{r.mae:.3g}",
            "–" if r.bound_mae is None else f"{r.bound_mae:.3g}",
            "–" if r.films_mae is None else f"{r.films_mae:.3g}",
            f"{r.blind:.3g}",
            f"{r.bias:+.2g}",
            f"{100 * r.held:.0f} %",
        ]
        lines.append(f"| {' | '.join(cells)} |")
    return "\n".join(lines) + "\n"


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(prog="python -m models.training information")
    parser.add_argument("errors", type=Path, nargs="+")
    parser.add_argument("--bounds", type=Path)
    parser.add_argument("--films-bounds", type=Path, help="at the landmark errors of the films")
    parser.add_argument("--about", default="")
    parser.add_argument("--out", type=Path)
    options = parser.parse_args()
    clips = [one.errors for folder in options.errors for one in read_errors(folder)]
    bounds, of_films = (
        read_bounds(path) if path else {} for path in (options.bounds, options.films_bounds)
    )
    errors = [e for clip in clips for e in clip.metrics]
    rows = rows_of(errors, bounds, of_films)
    serves = sum(RepetitionKind.SERVE in clip.kinds for clip in clips)
    views = {view.value: sum(clip.view is view for clip in clips) for view in View}
    about = f"{len(clips)} films ({serves} of serves); by position: " + ", ".join(
        f"{name.replace('_', ' ')} {count}" for name, count in views.items() if count
    )
    text = page(rows, f"{options.about} {about}.".strip())
    if options.out:
        options.out.write_text(text, "utf-8")
    else:
        print(text)


if __name__ == "__main__":
    main()
