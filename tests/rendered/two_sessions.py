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
from collections.abc import Iterable, Sequence
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
ANY_VIEW = "any"
MIN_PLAYERS_A_VIEW = 5
MIN_PLAYERS = 8
"""A share that rests on fewer players is not written."""
FILMS = 2 * SESSION + 1

HEAD = '''"""How much of a metric's error differs between films of one place. Generated, not edited.

Made by ``python -m tests.rendered.two_sessions`` from {players} players, two sessions each, one
knob of the motion turned and the camera put back by hand between them.
``REPEAT``: metric and view to (share of its standard uncertainty that all serves of a session have
in common, share that differs from serve to serve, share of a true change that films show at least,
count of players).
"""

from __future__ import annotations

REPEAT: dict[tuple[str, str], tuple[float, float, float, int]] = {{
'''
Shares = dict[tuple[str, str], tuple[float, float, float, int]]


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

    def add(self, other: _Errors) -> None:
        """Take in those of another player."""
        self.steps += other.steps
        self.within += other.within
        self.dof += other.dof

    def slope(self, usual: float = 0.0) -> float:
        """Share of a true step that is missing, negative, drawn to the usual one."""
        true, error, _ = np.array(self.steps).T
        return float((true @ error + STEPS_PRIOR * usual) / (true @ true + STEPS_PRIOR))

    def between(self, slope: float) -> float:
        """Mean square of the errors of steps that do not grow with the true step.

        Films show less of a step than there is; where nothing moved, that errs by nothing.
        """
        true, error, _ = np.array(self.steps).T
        return float(np.mean(np.square(error - slope * true)))

    def scatter(self) -> float:
        """Variance between the serves of a session."""
        return float(np.sum(np.square(self.within)) / self.dof)

    def added(self) -> float:
        """What scatter between serves adds to `between`."""
        return float(np.mean([share for _, _, share in self.steps])) * self.scatter()

    def shown(self) -> Array:
        """Shares of the clear true steps that were shown."""
        return np.array([1.0 + error / true for true, error, _ in self.steps if abs(true) >= 1.0])


def _of_player(player: Player) -> dict[str, _Errors]:
    """Errors of the metrics that both sessions of a player show twice or more."""
    found: dict[str, _Errors] = {}
    films = player.first, player.second
    sides = [[errors(film) for film in side] for side in films]
    for name in {name for side in sides for film in side for name in film}:
        rows = [[film[name] for film in side if name in film] for side in sides]
        unit = float(np.sqrt(np.mean([sd**2 for side in rows for _, sd in side])))
        if min(map(len, rows)) < 2 or unit == 0:
            continue
        scaled = [np.array([error for error, _ in side]) / unit for side in rows]
        truths = [
            [
                f.truth.repetitions[0].metrics[name]
                for f, row in zip(*side, strict=True)
                if name in row
            ]
            for side in zip(films, sides, strict=True)
        ]
        true = float(np.mean(truths[1]) - np.mean(truths[0])) / unit
        error = float(scaled[1].mean() - scaled[0].mean())
        found[name] = _Errors(
            steps=[(true, error, sum(1.0 / len(side) for side in scaled))],
            within=[float(x) for side in scaled for x in side - side.mean()],
            dof=sum(len(side) - 1 for side in scaled),
        )
    return found


def shares(players: Iterable[Player]) -> Shares:
    """Shares of the standard uncertainty between sessions and between serves, by metric and view;
    see `HEAD`.

    The variances of all metrics give the usual one; those of a metric are drawn towards it, and
    those of a metric from one view towards the metric's, as if `PRIOR` players said so. Then the
    upper 90 % confidence limit of a variance (chi-square) is taken: few players must not promise
    too much. Together at most 1.
    """
    found: dict[str, dict[str, _Errors]] = defaultdict(lambda: defaultdict(lambda: _Errors([], [])))
    for player in players:
        view = player.first[0].analysis.view.label.value if player.first else ANY_VIEW
        for name, one in _of_player(player).items():
            for cell in (ANY_VIEW, view):
                found[name][cell].add(one)
    found = {n: cells for n, cells in found.items() if len(cells[ANY_VIEW].steps) >= MIN_PLAYERS}
    if not found:
        return {}
    whole = {name: cells[ANY_VIEW] for name, cells in found.items()}
    usual = _Variances(
        between=float(np.median([one.between(one.slope()) for one in whole.values()])),
        serve=float(np.median([one.scatter() for one in whole.values()])),
    )
    everywhere = _shown_everywhere([one.shown() for one in whole.values()])
    table: Shares = {}
    for name, cells in sorted(found.items()):
        slope = whole[name].slope()
        drawn = _drawn(whole[name], slope, usual)
        table[name, ANY_VIEW] = _row(whole[name], drawn, everywhere)
        for view, one in sorted(cells.items()):
            if view != ANY_VIEW and len(one.steps) >= MIN_PLAYERS_A_VIEW:
                of_view = _drawn(one, one.slope(slope), drawn)
                table[name, view] = _row(one, of_view, everywhere)
    return table


@dataclass(frozen=True)
class _Variances:
    """Mean square of the errors of steps, and variance between serves."""

    between: float
    serve: float


def _drawn(one: _Errors, slope: float, usual: _Variances) -> _Variances:
    """Variances drawn towards the usual ones."""
    count = len(one.steps)
    part = PRIOR / (count + PRIOR)
    return _Variances(
        between=(1 - part) * one.between(slope) + part * usual.between,
        serve=(1 - part) * one.scatter() + part * usual.serve,
    )


def _row(
    one: _Errors, drawn: _Variances, everywhere: _Shown | None
) -> tuple[float, float, float, int]:
    count = len(one.steps)
    total = count + PRIOR
    dof = total * one.dof / count
    serve = drawn.serve * dof / float(stats.chi2.ppf(0.10, dof))
    step = drawn.between * total / float(stats.chi2.ppf(0.10, total))
    session = max(step - one.added(), 0.0) / 2
    over = max(1.0, float(np.sqrt(session + serve)))
    return (
        round(float(np.sqrt(session)) / over, 3),
        round(float(np.sqrt(serve)) / over, 3),
        round(_least_shown(one.shown(), everywhere), 2),
        count,
    )


@dataclass(frozen=True)
class _Shown:
    """Logarithms of the shares of steps that films show: the usual one of all metrics, and how far
    steps of one metric scatter (standard deviation, from the median so that few strays count
    little).
    """

    middle: float
    scatter: float


def _shown_everywhere(shown: Sequence[Array]) -> _Shown | None:
    logs = [_logs(one) for one in shown if len(one) >= 3]
    if not logs:
        return None
    apart = [(one - one.mean()) * np.sqrt(len(one) / (len(one) - 1)) for one in logs]
    scatter = 1.4826 * float(np.median(np.abs(np.concatenate(apart))))
    return _Shown(float(np.median(np.concatenate(logs))), scatter)


def _logs(shown: Array) -> Array:
    return np.asarray(np.log(np.clip(shown, 0.05, 2.0)))


def _least_shown(own: Array, everywhere: _Shown | None) -> float:
    """Lower 97.5 % limit of the share of a step that films show, within 0.2 and 1.

    The typical share of a metric and view, drawn towards that of all metrics, times how far shares
    scatter.
    """
    if everywhere is None:
        return 1.0
    total = float(_logs(own).sum()) + SHOWN_PRIOR * everywhere.middle
    typical = total / (len(own) + SHOWN_PRIOR)
    return float(np.clip(np.exp(typical - Z95 * everywhere.scatter), 0.2, 1.0))


def with_shares(film: Filmed, table: Shares) -> Analysis:
    """The analysis with what a table says of each `Metric`."""

    view = film.analysis.view.label.value

    def set_one(metric: Metric) -> Metric:
        name = name_of(metric)
        row = table.get((name, view)) or table.get((name, ANY_VIEW))
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
        rows = "".join(f'    ("{n}", "{v}"): {row},\n' for (n, v), row in table.items())
        options.write.write_text(HEAD.format(players=len(players)) + rows + "}\n", "utf-8")
    report = {
        "players": len(players),
        f"{SESSION}_serves_a_side": judge(players).report(),
        f"{SESSION}_serves_a_side_focus_named": judge(players, focus=True).report(),
        "1_serve_a_side": judge(players, 1).report(),
        "1_serve_a_side_focus_named": judge(players, 1, focus=True).report(),
    }
    print(json.dumps(report, indent=1))


if __name__ == "__main__":
    main()
