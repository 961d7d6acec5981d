"""Work out the calibrated error terms from clips with known truth, and write them as data.

``python -m models.training calibration ERRORS ... --out FILE``: each ERRORS is a folder that
``python -m models.training measure`` wrote. Every metric was measured by every method, nothing
corrected, nothing withheld for the view.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from types import MappingProxyType

import numpy as np

from models.contract.frame_rate import rate_class
from models.contract.interval import Z95
from models.contract.metrics.catalogue import CATALOGUE
from models.contract.tracks import FloatArray
from models.contract.vocabulary import EventName, RepetitionKind, View
from workers.engine.accuracy import ClipErrors, MetricError
from workers.engine.calibration import Residual, work_name

from .other_ways import generator_of, missed, propagated, right_hand_found, widening

COVERAGE = 0.965
"""Share of the calibration's values that their 95 % intervals must hold: a little more than 95 %,
as other films will differ (with 95.5 %, 91.6 % of the values of a generator left out were held;
working value)."""
ENOUGH = 12
"""Values from which that quantile itself is used; fewer use the inflated rms."""
ONE_VALUE = 1e-3
"""True values that differ by less than this share of their mean are one value (a film's clock)."""
FARTHEST = 3.0
"""Standard deviations up to which one error counts for the width (working value)."""
MIN_FOR_BIAS = 4
"""Values from which a mean error may be taken for a bias."""
TOLD_PRIOR = 12.0
"""The same in correlation and slope, which few values hardly tell."""
TAKEN_OUT = 0.5
"""Share of a mean error that is taken out (working value): rendered people of one way of moving are
not the real ones, so that half of it stays and widens the interval instead."""
PRIOR = 3.0
"""Weight, in values, of the all-views figure in each view's."""

Table = dict[tuple[str, str, str, str], tuple[float, float, float, int, float, float, float]]
EventTable = dict[tuple[str, str, str], tuple[float, int]]
MIN_EVENT_SD_S = 0.003
"""Least standard uncertainty of an event, seconds, however well few films agree (working value)."""


def calibrate(
    comparisons: Iterable[ClipErrors], flat: Mapping[str, float] = MappingProxyType({})
) -> Table:
    """Return the residual table of a set of compared clips.

    ``flat`` is the standard deviation of true values over flat postures, by metric (`flat_spread`).

    The clips must have been measured uncalibrated (`EngineRequest.calibrated` false): every
    metric by every method, nothing corrected, intervals as propagated.
    """
    errors = [
        e
        for c in comparisons
        if right_hand_found(c)
        for e in c.metrics
        if e.error is not None and not missed(c, e)
    ]
    groups: dict[tuple[str, str, str], list[MetricError]] = {}
    for error in errors:
        named = work_name(error.name, error.kind)
        groups.setdefault((named, rate_class(error.fps), error.method), []).append(error)
    table: Table = {}
    for (name, rate, method), mine in groups.items():
        everywhere = _residual(mine, None, flat.get(mine[0].name, 0.0))
        for view in View:
            chosen = [e for e in mine if e.view is view]
            if chosen:
                found = _residual(chosen, everywhere, flat.get(mine[0].name, 0.0))
                table[(name, view.value, rate, method)] = (
                    _rounded(found.bias),
                    _rounded(found.sd),
                    _rounded(found.mae),
                    found.count,
                    _rounded(found.r2),
                    _rounded(found.slope),
                    _rounded(found.slope_sd),
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
        return TAKEN_OUT * mean * max(0.0, 1.0 - doubt / mean**2) if mean else 0.0

    if len(errors) < MIN_FOR_BIAS:
        return 0.0, errors
    left = [error - shrunk(np.delete(errors, i)) for i, error in enumerate(errors)]
    return shrunk(errors), np.array(left)


def _rms(values: Sequence[float]) -> float:
    """Root mean square without the farthest twentieth: one lost event is not a spread."""
    kept = np.sort(np.abs(values))[: max(int(np.ceil(0.95 * len(values))), 1)]
    return float(np.sqrt(np.mean(kept**2))) if len(values) else 0.0


def _residual(chosen: Sequence[MetricError], prior: Residual | None, flat: float = 0.0) -> Residual:
    errors = np.array([e.error for e in chosen], dtype=np.float64)
    count = len(chosen)
    told = _told(chosen, prior, flat)
    if CATALOGUE.yes_no(chosen[0].name):  # right or wrong: no bias to take out, nothing to widen
        return Residual(0.0, 0.0, float(np.mean(np.abs(errors))), count, *told)
    bias, away = bias_of(errors)
    spread = np.array([propagated(e) for e in chosen])
    mean_square = float(np.mean(away**2 - spread**2))
    sd = float(np.sqrt(max(mean_square, 0.0))) * (1.0 + 1.0 / count)
    if count >= ENOUGH:
        sd = max(sd * 0.9, _quantile_sd(away, spread), _even_sd(away, spread))
    mae = float(np.mean(np.abs(away)))
    if prior is not None:
        weight = PRIOR / (PRIOR + count)
        sd = float(np.sqrt((1 - weight) * sd**2 + weight * prior.sd**2))
        mae = (1 - weight) * mae + weight * prior.mae
    return Residual(bias, sd, mae, count, *told)


def _told(
    chosen: Sequence[MetricError], prior: Residual | None, flat: float
) -> tuple[float, float, float]:
    """Return squared correlation over flat postures, slope of measured on true values, its sd.

    Slope and scatter about it are those of the films; what they mean for the squared correlation
    depends on how much players differ: ``flat`` is the standard deviation of the true value over
    postures spread evenly over what bodies can do. Few values are drawn to those of all views.
    In a position where nothing differs truly there is nothing to tell: zero. Where nothing differs
    in any film (all hold for the same time), films cannot say what a value tells, only how far off
    it is: it is believed. A negative slope tells nothing.
    """
    true = np.array([e.truth for e in chosen], dtype=np.float64)
    seen = np.array([e.value for e in chosen], dtype=np.float64)
    r2, slope, doubt = 0.0, 0.0, 1.0
    one_value = float(true.std()) <= ONE_VALUE * abs(float(true.mean()))
    ways = [generator_of(e.clip) for e in chosen]
    about, told_about = about_own_mean(true, ways), about_own_mean(seen, ways)
    count = len(about)
    if prior is None and one_value and count >= MIN_FOR_BIAS:
        return 1.0, 1.0, 0.0
    if prior is not None and one_value and prior.slope_sd == 0.0:
        return prior.r2, prior.slope, prior.slope_sd
    if count >= MIN_FOR_BIAS and about.std() > 1e-9 and told_about.std() > 1e-9:
        slope, start = (float(x) for x in np.polyfit(about, told_about, 1))
        scatter = float(np.sum((told_about - start - slope * about) ** 2)) / max(count - 2, 1)
        told = (max(slope, 0.0) * max(flat, float(about.std()))) ** 2
        r2 = told / max(told + scatter, 1e-12)
        doubt = float(np.sqrt(scatter / count) / about.std())
    if prior is None:
        return r2, slope, doubt
    weight = TOLD_PRIOR / (TOLD_PRIOR + count)
    return (
        (1 - weight) * r2 + weight * prior.r2,
        (1 - weight) * slope + weight * prior.slope,
        (1 - weight) * doubt + weight * prior.slope_sd,
    )


def about_own_mean(values: FloatArray, groups: Sequence[str]) -> FloatArray:
    """Return values less the mean of their group; groups of fewer than `MIN_FOR_BIAS` are left out.

    Parameters
    ----------
    values : ndarray, shape (N,)
    groups : sequence of str, length N
    """
    names = np.array(groups)
    mine = [values[names == name] for name in dict.fromkeys(groups)]
    kept = [part - part.mean() for part in mine if len(part) >= MIN_FOR_BIAS]
    return np.concatenate(kept) if kept else np.zeros(0)


def _quantile_sd(away: FloatArray, spread: FloatArray) -> float:
    """Return the smallest term with which enough of the intervals hold the truth."""
    need = np.sort(np.sqrt(np.maximum((away / Z95) ** 2 - spread**2, 0.0)))
    place = min(int(np.ceil(COVERAGE * len(need))) - 1, len(need) - 1)
    return float(need[place])


def _even_sd(away: FloatArray, spread: FloatArray) -> float:
    """Return the term with which errors are as large as said whatever each film says of itself.

    The mean of squared errors over squared uncertainties is one (the Birge ratio: Phys Rev 1932,
    40:207-227, from memory), each counted up to `FARTHEST`: a few films that say little of
    themselves must not excuse the many that say much.
    """
    low, high = 0.0, float(np.abs(away).max())
    for _ in range(40):
        middle = (low + high) / 2.0
        ratios = away**2 / np.maximum(spread**2 + middle**2, 1e-24)
        low, high = (
            (low, middle) if np.mean(np.minimum(ratios, FARTHEST**2)) <= 1.0 else (middle, high)
        )
    return high if low > 0.0 else 0.0


def _rounded(value: float) -> float:
    return float(f"{value:.3g}")


def kept_rows(path: Path, measured: Table, events: EventTable) -> tuple[Table, EventTable, str]:
    """Return an earlier table's rows of what was not measured anew, and how it was made.

    Films of a set may lack what a metric needs, as fast frames for speeds; or be of one kind of
    work.
    """
    before = json.loads(path.read_text("utf-8"))
    names = {metric for metric, *_ in measured}
    told = {event for event, *_ in events}
    return (
        {tuple(row[:4]): tuple(row[4:]) for row in before["metrics"] if row[0] not in names},
        {tuple(row[:3]): tuple(row[3:]) for row in before["events"] if row[0] not in told},
        before["made_by"],
    )


def of_kinds(table: Table, kinds: Sequence[str]) -> Table:
    """Return the rows of some kinds of work."""
    serve = RepetitionKind.SERVE.value

    def kind(name: str) -> str:
        first, mark, _ = name.partition(":")
        return first if mark else serve

    return {key: row for key, row in table.items() if kind(key[0]) in kinds}


def flat_spread(use: str, count: int, seed: int = 91) -> dict[str, float]:
    """Return the standard deviation of true values over movements with flat postures, by metric:
    within one way of moving.
    """
    from models.training.packed_measure import drawn_values
    from models.training.rendered.movements.packed import generator_drawn

    values: dict[str, list[float]] = {}
    ways: dict[str, list[str]] = {}
    for index in range(count):
        way = generator_drawn(use, seed, index)
        for name, value in drawn_values(use, seed, index).items():
            values.setdefault(name, []).append(value)
            ways.setdefault(name, []).append(way)
    about = {name: about_own_mean(np.array(mine), ways[name]) for name, mine in values.items()}
    return {name: float(np.std(mine)) for name, mine in about.items() if len(mine) >= ENOUGH}


def widened(table: Table, apart: Mapping[str, float]) -> Table:
    """Return the table with each metric's term for ways of moving added in quadrature."""
    return {
        key: (row[0], _rounded(float(np.hypot(row[1], apart.get(key[0], 0.0)))), *row[2:])
        for key, row in table.items()
    }


def table_text(table: Table, events: EventTable, command: str) -> str:
    """Return the text of ``calibration.json``, one row a line (see `workers.learned.tables`)."""
    parts = {
        "metrics": [[*key, *row] for key, row in sorted(table.items())],
        "events": [[*key, *row] for key, row in sorted(events.items())],
    }
    lists = [
        f'"{name}": [\n'
        + ",\n".join(json.dumps(row, separators=(",", ":")) for row in rows)
        + "\n]"
        for name, rows in parts.items()
    ]
    return "{\n" + ",\n".join([f'"made_by": {json.dumps(command)}', *lists]) + "\n}\n"


def main(arguments: Sequence[str] | None = None) -> int:
    """Command line: read what was measured and write the table; returns the exit code."""
    from models.training.packed_measure import read_errors

    parser = argparse.ArgumentParser(prog="python -m models.training calibration")
    parser.add_argument("errors", type=Path, nargs="+", help="folders that `measure` wrote")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--about", required=True, help="where the films come from")
    parser.add_argument("--keep", type=Path, help="table whose rows stay for metrics not measured")
    kinds = [kind.value for kind in RepetitionKind]
    parser.add_argument("--kind", choices=kinds, nargs="+", help="only such work, and no events")
    parser.add_argument("--flat", default="train", help="use whose movements are flat")
    parser.add_argument("--flat-count", type=int, default=150)
    options = parser.parse_args(arguments)
    paths = [path for folder in options.errors for path in sorted(folder.glob("*.pickle"))]
    compared = [one.errors for folder in options.errors for one in read_errors(folder)]
    if not compared:
        print("Nothing was measured into any of the folders.", file=sys.stderr)
        return 4
    made_by = f"python -m models.training calibration, from {options.about}"
    flat = flat_spread(options.flat, options.flat_count)
    by_generator: dict[str, list[ClipErrors]] = {}
    for path, one in zip(paths, compared, strict=True):
        by_generator.setdefault(generator_of(path.stem), []).append(one)
    apart = widening(by_generator, lambda films: calibrate(films, flat), COVERAGE)
    print({name: len(films) for name, films in by_generator.items()}, apart)
    if apart:
        made_by += f", {len(apart)} metrics widened for other ways of moving"
    table, events = widened(calibrate(compared, flat), apart), calibrate_events(compared)
    if options.kind:
        table, events = of_kinds(table, options.kind), {}
        made_by += f", of kind {' and '.join(options.kind)}"
    if options.keep:
        kept, kept_events, before = kept_rows(options.keep, table, events)
        table, events = kept | table, kept_events | events
        made_by += f"; the rest: {before}"
    text = table_text(table, events, made_by)
    part = options.out.with_suffix(".part")
    part.write_text(text, "utf-8")
    part.replace(options.out)
    return 0


if __name__ == "__main__":
    sys.exit(main())
