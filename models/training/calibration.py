"""Work out the calibrated error terms from clips with known truth, and write them as data.

``python -m models.training calibration FILMS ... --cache TRACKS --out FILE``: each FILMS is a
folder of films with a truth JSON beside each. Every metric is measured by every method, nothing
corrected, nothing withheld for the view.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np

from models.contract.frame_rate import rate_class
from models.contract.interval import Z95
from models.contract.metrics.catalogue import CATALOGUE
from models.contract.tracks import FloatArray
from models.contract.vocabulary import EventName, View
from workers.engine.accuracy import ClipErrors, MetricError
from workers.engine.calibration import Residual

COVERAGE = 0.955
"""Share of the calibration's values that their 95 % intervals must hold: a little more than 95 %,
as other films will differ (working value)."""
ENOUGH = 12
"""Values from which the 95.5 % quantile itself is used; fewer use the inflated rms."""
MIN_FOR_BIAS = 4
"""Values from which a mean error may be taken for a bias."""
PRIOR = 3.0
"""Weight, in values, of the all-views figure in each view's."""

Table = dict[tuple[str, str, str, str], tuple[float, float, float, int]]
EventTable = dict[tuple[str, str, str], tuple[float, int]]
MIN_EVENT_SD_S = 0.003
"""Least standard uncertainty of an event, seconds, however well few films agree (working value)."""


def calibrate(comparisons: Iterable[ClipErrors]) -> Table:
    """Return the residual table of a set of compared clips.

    The clips must have been measured uncalibrated (`EngineRequest.calibrated` false): every
    metric by every method, nothing corrected, intervals as propagated.
    """
    # Yes or no is right or wrong: it has no bias to take out.
    errors = [
        e
        for c in comparisons
        for e in c.metrics
        if e.error is not None and not CATALOGUE.yes_no(e.name)
    ]
    groups: dict[tuple[str, str, str], list[MetricError]] = {}
    for error in errors:
        groups.setdefault((error.name, rate_class(error.fps), error.method), []).append(error)
    table: Table = {}
    for (name, rate, method), mine in groups.items():
        everywhere = _residual(mine, None)
        for view in View:
            chosen = [e for e in mine if e.view is view]
            if chosen:
                found = _residual(chosen, everywhere)
                table[(name, view.value, rate, method)] = (
                    _rounded(found.bias),
                    _rounded(found.sd),
                    _rounded(found.mae),
                    found.count,
                )
    return table


def calibrate_events(comparisons: Iterable[ClipErrors]) -> EventTable:
    """Return the root mean square time error of each event per view and rate, and its count."""
    errors = [e for c in comparisons for e in c.events if e.seconds is not None]
    table: EventTable = {}
    for event in EventName:
        for rate in ("low", "usual"):
            mine = [e for e in errors if e.event is event and rate_class(e.fps) == rate]
            everywhere = _rms([e.seconds or 0.0 for e in mine])
            for view in View:
                away = [e.seconds or 0.0 for e in mine if e.view is view]
                if away:
                    weight = PRIOR / (PRIOR + len(away))
                    sd = np.sqrt((1 - weight) * _rms(away) ** 2 + weight * everywhere**2)
                    sd = max(float(sd), MIN_EVENT_SD_S)
                    table[(event.value, view.value, rate)] = (_rounded(sd), len(away))
    return table


def bias_of(errors: FloatArray) -> tuple[float, FloatArray]:
    """Return the bias to take out, and the errors left, each judged by a bias without itself.

    The bias is the mean error, shrunk by how uncertain it is (positive-part James-Stein, In: Proc
    4th Berkeley Symp 1961, 1:361-379, from memory): a mean within its own standard error is none.
    """

    def shrunk(values: FloatArray) -> float:
        mean = float(np.mean(values))
        doubt = float(np.var(values, ddof=1)) / len(values)
        return mean * max(0.0, 1.0 - doubt / mean**2) if mean else 0.0

    if len(errors) < MIN_FOR_BIAS:
        return 0.0, errors
    left = [error - shrunk(np.delete(errors, i)) for i, error in enumerate(errors)]
    return shrunk(errors), np.array(left)


def _rms(values: Sequence[float]) -> float:
    """Root mean square without the farthest twentieth: one lost event is not a spread."""
    kept = np.sort(np.abs(values))[: max(int(np.ceil(0.95 * len(values))), 1)]
    return float(np.sqrt(np.mean(kept**2))) if len(values) else 0.0


def _residual(chosen: Sequence[MetricError], prior: Residual | None) -> Residual:
    bias, away = bias_of(np.array([e.error for e in chosen], dtype=np.float64))
    spread = np.array([_propagated(e) for e in chosen])
    count = len(chosen)
    mean_square = float(np.mean(away**2 - spread**2))
    sd = float(np.sqrt(max(mean_square, 0.0))) * (1.0 + 1.0 / count)
    if count >= ENOUGH:
        sd = max(sd * 0.9, _quantile_sd(away, spread))
    mae = float(np.mean(np.abs(away)))
    if prior is not None:
        weight = PRIOR / (PRIOR + count)
        sd = float(np.sqrt((1 - weight) * sd**2 + weight * prior.sd**2))
        mae = (1 - weight) * mae + weight * prior.mae
    return Residual(bias, sd, mae, count)


def _propagated(error: MetricError) -> float:
    if error.low is None or error.high is None:
        return 0.0
    return (error.high - error.low) / (2.0 * Z95)


def _quantile_sd(away: FloatArray, spread: FloatArray) -> float:
    """Return the smallest term with which enough of the intervals hold the truth."""
    need = np.sort(np.sqrt(np.maximum((away / Z95) ** 2 - spread**2, 0.0)))
    place = min(int(np.ceil(COVERAGE * len(need))) - 1, len(need) - 1)
    return float(need[place])


def _rounded(value: float) -> float:
    return float(f"{value:.3g}")


def table_text(table: Table, events: EventTable, command: str) -> str:
    """Return the text of ``calibration.json``, one row a line (see `workers.learned.tables`)."""
    parts = {
        "metrics": [[*key, *row] for key, row in sorted(table.items())],
        "events": [[*key, *row] for key, row in sorted(events.items())],
    }
    lists = [
        f'"{name}": [\n' + ",\n".join(json.dumps(row) for row in rows) + "\n]"
        for name, rows in parts.items()
    ]
    return "{\n" + ",\n".join([f'"made_by": {json.dumps(command)}', *lists]) + "\n}\n"


def main(arguments: Sequence[str] | None = None) -> int:
    """Command line: measure the films and write the table; returns the exit code."""
    from workers.cli.accuracy import compare_all, find_pairs

    parser = argparse.ArgumentParser(prog="python -m models.training calibration")
    parser.add_argument("films", type=Path, nargs="+", help="folders of films with their truth")
    parser.add_argument("--cache", type=Path, default=Path("accuracy-cache"))
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--about", required=True, help="where the films come from")
    options = parser.parse_args(arguments)
    pairs = [pair for folder in options.films for pair in find_pairs(folder)]
    if not pairs:
        print("No film with a truth JSON beside it in any of the folders.", file=sys.stderr)
        return 4
    compared, failed, _ = compare_all(pairs, options.cache, heights=True, all_metrics=True)
    for film, code in failed.items():
        print(f"left out: {film} ({code})", file=sys.stderr)
    made_by = f"python -m models.training calibration, from {options.about}"
    text = table_text(calibrate(compared), calibrate_events(compared), made_by)
    part = options.out.with_suffix(".part")
    part.write_text(text, "utf-8")
    part.replace(options.out)
    return 0


if __name__ == "__main__":
    sys.exit(main())
