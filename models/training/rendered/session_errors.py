"""What films of one player from one camera place err alike, and how they show a change.

Works out the table ``models/weights/repeat_shares.json`` from rendered players on two days; see
`two_sessions`.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from models.contract.analysis import Analysis
from models.contract.interval import Z95
from models.contract.metrics.definition import metric_name
from workers.decide.place import one_place
from workers.engine.truth import ClipTruth

from .rotation import Array

LEAST_SQUARE = 1e-6
PRIOR = 6
STEPS_PRIOR = 1.0
"""Keeps the slope of errors over true steps at nothing where hardly anything truly moved."""
SHOWN_PRIOR = 2.0
"""All metrics together count as so many steps of one metric."""
ANY_VIEW = "any"
MIN_PLAYERS_A_VIEW = 5
MIN_PLAYERS = 8
"""A share that rests on fewer players is not written."""
MADE_BY = (
    "python -m models.training.rendered.two_sessions, from {players} players, two sessions each, "
    "one knob of the motion turned and the camera put back by hand between them"
)
Shares = dict[tuple[str, str], tuple[float, float, float, float, int]]


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


def errors(film: Filmed) -> dict[str, tuple[float, float]]:
    """Error and standard uncertainty of each value whose truth is known."""
    known = film.truth.repetitions[0].metrics
    return {
        name: (m.value - known[name], (m.high - m.low) / (2 * Z95))
        for m in film.analysis.repetitions[0].metrics
        if m.value is not None
        and m.low is not None
        and m.high is not None
        and (name := metric_name(m.key, m.event)) in known
    }


@dataclass
class _Errors:
    """Errors of one metric in units of its standard uncertainty.

    ``steps``: true difference of the two session means of a player, its error, and what scatter
    between serves adds to the mean square of that error, per unit of their variance.
    ``within``: sum of the squared deviations from a session's mean, and its degrees of freedom.
    """

    steps: list[tuple[float, float, float]]
    within: list[tuple[float, int]]

    def add(self, other: _Errors) -> None:
        """Take in those of another player."""
        self.steps += other.steps
        self.within += other.within

    def slope(self, usual: float = 0.0) -> float:
        """Share of a true step that is missing, negative, drawn to the usual one."""
        true, error, _ = np.array(self.steps).T
        return float((true @ error + STEPS_PRIOR * usual) / (true @ true + STEPS_PRIOR))

    def between(self, slope: float) -> float:
        """Variance of the errors of steps that do not grow with the true step.

        Films show less of a step than there is; where nothing moved, that errs by nothing. From the
        mean absolute error, as of normal ones, so that no single player rules.
        """
        true, error, _ = np.array(self.steps).T
        return float(np.pi / 2 * np.mean(np.abs(error - slope * true)) ** 2)

    def scatter(self) -> float:
        """Usual variance between the serves of a session: the geometric mean over sessions, freed
        of the bias of a logarithm, so that no single session rules.
        """
        dof = np.array([dof for _, dof in self.within]) / 2
        squares = np.array([max(square, LEAST_SQUARE) for square, _ in self.within])
        return float(np.exp(np.mean(np.log(squares / 2) - special.digamma(dof))))

    def session(self, slope: float) -> float:
        """Variance that the serves of a session have in common: half of what is left of `between`
        without what scatter between serves adds to it.
        """
        added = float(np.mean([share for _, _, share in self.steps])) * self.scatter()
        return max(self.between(slope) - added, 0.0) / 2

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
            within=[
                (float(np.sum(np.square(side - side.mean()))), len(side) - 1) for side in scaled
            ],
        )
    return found


def shares(players: Iterable[Player]) -> Shares:
    """Shares of the standard uncertainty between sessions and between serves, by metric and view;
    see `HEAD`.

    The variances of all metrics give the usual one; those of a metric are drawn towards it, and
    those of a metric from one view towards the metric's, as if `PRIOR` players said so. Together
    at most 1.
    """
    found: dict[str, dict[str, _Errors]] = defaultdict(lambda: defaultdict(lambda: _Errors([], [])))
    for player in players:
        if not one_place(film.analysis for film in (*player.first, *player.second)):
            continue  # a comparison would not use the shares for them, either
        view = player.first[0].analysis.view.label.value
        for name, one in _of_player(player).items():
            for cell in (ANY_VIEW, view):
                found[name][cell].add(one)
    found = {n: cells for n, cells in found.items() if len(cells[ANY_VIEW].steps) >= MIN_PLAYERS}
    if not found:
        return {}
    whole = {name: cells[ANY_VIEW] for name, cells in found.items()}
    usual = _Variances(
        session=float(np.median([one.session(one.slope()) for one in whole.values()])),
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
    """Variance that the serves of a session have in common, and variance between them."""

    session: float
    serve: float


def _drawn(one: _Errors, slope: float, usual: _Variances) -> _Variances:
    """Variances drawn towards the usual ones."""
    count = len(one.steps)
    part = PRIOR / (count + PRIOR)
    return _Variances(
        session=(1 - part) * one.session(slope) + part * usual.session,
        serve=(1 - part) * one.scatter() + part * usual.serve,
    )


def _row(
    one: _Errors, drawn: _Variances, everywhere: _Shown | None
) -> tuple[float, float, float, float, int]:
    session, serve = drawn.session, drawn.serve
    least, usually = _share_shown(one.shown(), everywhere)
    over = max(1.0, float(np.sqrt(session + serve)))
    return (
        round(float(np.sqrt(session)) / over, 3),
        round(float(np.sqrt(serve)) / over, 3),
        round(least, 2),
        round(usually, 2),
        len(one.steps),
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


def _share_shown(own: Array, everywhere: _Shown | None) -> tuple[float, float]:
    """Lower 97.5 % limit of the share of a step that films show, within 0.2 and 1, and the usual
    share.

    The usual share of a metric and view is drawn towards that of all metrics; the limit lies as
    far below as shares scatter.
    """
    if everywhere is None:
        return 1.0, 1.0
    total = float(_logs(own).sum()) + SHOWN_PRIOR * everywhere.middle
    usually = float(np.exp(total / (len(own) + SHOWN_PRIOR)))
    least = float(np.clip(usually * np.exp(-Z95 * everywhere.scatter), 0.2, 1.0))
    return least, max(usually, least)


def table_text(table: Shares, players: int) -> str:
    """Return the table as the JSON file that the engine is given, one row a line.

    A row of ``shares``: metric, view or "any", share of its standard uncertainty that all serves
    of a session have in common, share that differs from serve to serve, share of a true change
    that films show at least, share that they usually show, count of players.
    """
    rows = ",\n".join(json.dumps([*key, *row]) for key, row in table.items())
    return f'{{\n"made_by": {json.dumps(MADE_BY.format(players=players))},\n"shares": [\n{rows}\n]\n}}\n'
