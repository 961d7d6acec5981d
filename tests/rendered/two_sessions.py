"""Two sessions of one player: how much of the error do films of one camera place share?

1. ``python -m tests.rendered films --profile two_sessions --seed 505 --count 216 --out FILMS``
2. ``python -m tests.rendered.two_sessions FILMS --cache TRACKS`` prints what a comparison says of
   the sessions; with ``--write workers/serve/repeat_table.py`` it also writes the table the engine
   reads.

Four serves, then four of a second session with one knob of the motion turned and the camera put
back by hand; the ninth film shows the first serve from another view. Each player is judged by
shares of the error that were worked out from all others.
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
from .profiles import SESSION
from .rotation import Array

Z95 = 1.959964
PRIOR = 6.0
STEPS_PRIOR = 1.0
"""Keeps the slope of errors over true steps at nothing where hardly anything truly moved."""
SHOWN_PRIOR = 2.0
"""All metrics together count as so many steps of one metric."""
MIN_PLAYERS = 8
"""A share that rests on fewer players is not written."""
FILMS = 2 * SESSION + 1

HEAD = '''"""How much of a metric's error differs between films of one place. Generated, not edited.

Made by ``python -m tests.rendered.two_sessions`` from {players} players, two sessions each, one
knob of the motion turned and the camera put back by hand between them.
``REPEAT``: metric to (share of its standard uncertainty that all serves of a session have in
common, share that differs from serve to serve, share of a true change that films show at least,
count of players).
"""

from __future__ import annotations

REPEAT: dict[str, tuple[float, float, float, int]] = {{
'''
Shares = dict[str, tuple[float, float, float, int]]


@dataclass(frozen=True)
class Filmed:
    """One film, what the engine says of it, and what is true."""

    analysis: Analysis
    truth: ClipTruth


@dataclass(frozen=True)
class Player:
    """The films of one player in which one serve was found."""

    number: int
    first: tuple[Filmed, ...]
    second: tuple[Filmed, ...]
    elsewhere: tuple[Filmed, ...]


def name_of(metric: Metric) -> str:
    """Key and event in one word."""
    return metric.key + (f"@{metric.event.value}" if metric.event else "")


def read_players(folder: Path, cache: Path) -> list[Player]:
    """The players of a folder whose nine films are all there."""
    films: dict[int, list[Path]] = defaultdict(list)
    for film in sorted(folder.glob("[0-9][0-9][0-9].mp4")):
        films[int(film.stem) // FILMS].append(film)
    players = []
    for number, paths in films.items():
        if len(paths) == FILMS:
            seen = [_measured(path, cache) for path in paths]
            sides = seen[:SESSION], seen[SESSION:-1], seen[-1:]
            one, two, away = (tuple(f for f in side if f is not None) for side in sides)
            players.append(Player(number, one, two, away))
    return players


def _measured(film: Path, cache: Path) -> Filmed | None:
    document = read_document(film.with_suffix(".json"))
    truth = read_truth(document, film.stem)
    request = EngineRequest(stature_m=truth.stature_m)
    found = analyse(joint_track(film, truth, cache), request)
    return Filmed(as_analysis(found, document), truth) if len(found.repetitions) == 1 else None


def errors(film: Filmed) -> dict[str, tuple[float, float]]:
    """Error and standard uncertainty of each value whose truth is known."""
    known = film.truth.repetitions[0].metrics
    return {
        name_of(m): (m.value - known[name_of(m)], (m.high - m.low) / (2 * Z95))
        for m in film.analysis.repetitions[0].metrics
        if m.value is not None and m.low is not None and m.high is not None and name_of(m) in known
    }


@dataclass
class _Errors:
    """Errors of one metric in units of its standard uncertainty.

    ``steps``: true difference of the two session means of a player, its error, and what scatter
    between serves adds to the mean square of that error, per unit of their variance.
    ``within``: deviations from the session's mean; ``dof``: their degrees of freedom.
    """

    steps: list[tuple[float, float, float]]
    within: list[float]
    dof: int = 0

    def unexplained(self) -> Array:
        """Errors of the steps that do not grow with the true step.

        Films show less of a step than there is; where nothing moved, that errs by nothing.
        """
        true, error, _ = np.array(self.steps).T
        slope = float(true @ error / (true @ true + STEPS_PRIOR))
        return np.asarray(error - slope * true)

    def shown(self) -> Array:
        """Shares of the clear true steps that were shown."""
        return np.array([1.0 + error / true for true, error, _ in self.steps if abs(true) >= 1.0])


def _collect(players: Iterable[Player]) -> dict[str, _Errors]:
    found: dict[str, _Errors] = defaultdict(lambda: _Errors([], []))
    for player in players:
        films = player.first, player.second
        sides = [[errors(film) for film in side] for side in films]
        for name in {name for side in sides for film in side for name in film}:
            rows = [[film[name] for film in side if name in film] for side in sides]
            if min(map(len, rows)) < 2:
                continue
            unit = float(np.sqrt(np.mean([sd**2 for side in rows for _, sd in side])))
            if unit == 0:
                continue
            scaled = [np.array([error for error, _ in side]) / unit for side in rows]
            error = float(scaled[1].mean() - scaled[0].mean())
            truths = [
                [
                    film.truth.repetitions[0].metrics[name]
                    for film, row in zip(side, seen, strict=True)
                    if name in row
                ]
                for side, seen in zip(films, sides, strict=True)
            ]
            true = float(np.mean(truths[1]) - np.mean(truths[0])) / unit
            one = found[name]
            one.steps.append((true, error, sum(1.0 / len(side) for side in scaled)))
            for side in scaled:
                one.within.extend((side - side.mean()).tolist())
                one.dof += len(side) - 1
    return found


def shares(players: Iterable[Player]) -> Shares:
    """Shares of the standard uncertainty between sessions and between serves; see `HEAD`.

    Both variances are drawn towards those of all metrics as if `PRIOR` players said so, then the
    upper 90 % confidence limit of a variance (chi-square) is taken: few players must not promise
    too much. Together at most 1.
    """
    found = {n: e for n, e in _collect(players).items() if len(e.steps) >= MIN_PLAYERS}
    if not found:
        return {}
    within = {n: float(np.sum(np.square(e.within)) / e.dof) for n, e in found.items()}
    between = {n: float(np.mean(np.square(e.unexplained()))) for n, e in found.items()}
    middle = float(np.median(list(within.values()))), float(np.median(list(between.values())))
    table: Shares = {}
    everywhere = np.concatenate([one.shown() for one in found.values()])
    for name, one in sorted(found.items()):
        count = len(one.steps)
        serve = _upper(within[name], one.dof, middle[0], PRIOR * one.dof / count)
        step = _upper(between[name], count, middle[1], PRIOR)
        added = float(np.mean([share for _, _, share in one.steps])) * within[name]
        session = max(step - added, 0.0) / 2
        over = max(1.0, float(np.sqrt(session + serve)))
        table[name] = (
            round(float(np.sqrt(session)) / over, 3),
            round(float(np.sqrt(serve)) / over, 3),
            round(_least_shown(one.shown(), everywhere), 2),
            count,
        )
    return table


def _least_shown(own: Array, everywhere: Array) -> float:
    """Lower 97.5 % limit of the share of a step that films show, within 0.2 and 1.

    A metric's own typical share, drawn towards that of all metrics, times how far shares scatter.
    """
    if len(everywhere) < MIN_PLAYERS:
        return 1.0
    logs = np.log(np.clip(everywhere, 0.05, 2.0))
    middle = float(np.median(logs))
    scatter = 1.4826 * float(np.median(np.abs(logs - middle)))
    own_logs = np.log(np.clip(own, 0.05, 2.0))
    typical = (float(own_logs.sum()) + SHOWN_PRIOR * middle) / (len(own) + SHOWN_PRIOR)
    return float(np.clip(np.exp(typical - Z95 * scatter), 0.2, 1.0))


def _upper(variance: float, dof: float, of_all: float, prior: float) -> float:
    """Upper 90 % limit of a variance that is drawn towards that of all metrics."""
    total = dof + prior
    mixed = (dof * variance + prior * of_all) / total
    return mixed * total / float(stats.chi2.ppf(0.10, total))


def with_shares(film: Filmed, table: Mapping[str, tuple[float, float, float, int]]) -> Analysis:
    """The analysis with what a table says of each `Metric`."""

    def set_one(metric: Metric) -> Metric:
        row = table.get(name_of(metric))
        if row is None or metric.low is None or metric.high is None:
            none = dict.fromkeys(("repeat_sd", "session_sd", "shown_share"))
            return metric.model_copy(update=none)
        sd = (metric.high - metric.low) / (2 * Z95)
        repeat = float(np.hypot(row[0], row[1])) * sd
        known = {"repeat_sd": repeat, "session_sd": row[0] * sd, "shown_share": row[2]}
        return metric.model_copy(update=known)

    repetition = film.analysis.repetitions[0]
    metrics = tuple(set_one(m) for m in repetition.metrics)
    changed = repetition.model_copy(update={"metrics": metrics})
    return film.analysis.model_copy(update={"repetitions": (changed,)})


def judge(players: Sequence[Player], serves: int = SESSION, focus: bool = False) -> Tally:
    """What a comparison says of each player's sessions, by shares from all other players.

    ``serves``: how many of each session are compared; ``focus``: the knob is named beforehand as
    what was worked on.
    """
    tally = Tally()
    for player in players:
        table = shares(other for other in players if other is not player)
        sides = [side[:serves] for side in (player.first, player.second)]
        one, two, away = (
            [with_shares(film, table) for film in side] for side in (*sides, player.elsewhere)
        )
        knob = KNOBS[player.number % len(KNOBS)]
        truths = [[film.truth for film in side] for side in sides]
        count_knob(tally, knob, compared(one, two, knob if focus else None), *truths)
        if away:
            tally.refilmed += 1
            tally.refilmed_quiet += quiet(compared(one[:1], away))
        halves = one[::2], one[1::2]
        if all(halves):
            tally.same += 1
            tally.same_quiet += quiet(compared(*halves))
    return tally


def main() -> None:
    """Command line of this module."""
    parser = argparse.ArgumentParser(prog="python -m tests.rendered.two_sessions")
    parser.add_argument("folder", type=Path)
    parser.add_argument("--cache", type=Path, required=True)
    parser.add_argument("--write", type=Path)
    options = parser.parse_args()
    players = read_players(options.folder, options.cache)
    table = shares(players)
    if options.write:
        rows = "".join(f'    "{name}": {row},\n' for name, row in table.items())
        options.write.write_text(HEAD.format(players=len(players)) + rows + "}\n", "utf-8")
    report = {
        "players": len(players),
        "shares": table,
        f"{SESSION}_serves_a_side": judge(players).report(),
        f"{SESSION}_serves_a_side_focus_named": judge(players, focus=True).report(),
        "1_serve_a_side": judge(players, 1).report(),
        "1_serve_a_side_focus_named": judge(players, 1, focus=True).report(),
    }
    print(json.dumps(report, indent=1))


if __name__ == "__main__":
    main()
