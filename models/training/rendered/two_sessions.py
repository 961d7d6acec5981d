"""Two sessions of one player: how much of the error do films of one camera place share?

1. ``python -m models.training bulk --profile two_sessions --seed 606 --count 324 --bodies BODIES.npz
   --work WORK --out PACKS``
2. ``python -m models.training.rendered.two_sessions PACKS`` prints what a comparison says of
   the sessions; with ``--write models/weights/repeat_shares.json`` it also writes the table the engine
   reads.

Four serves, then four of a second session with one knob of the motion turned and the camera put
back by hand; the ninth film shows the first serve from another view. Each player is judged by
shares of the error that were worked out from all others.
"""

from __future__ import annotations

import argparse
import json
from collections import defaultdict
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from models.contract.analysis import Analysis, Metric
from models.contract.comparison import MetricDifference
from models.contract.interval import Z95
from models.contract.metrics.definition import metric_name
from models.contract.vocabulary import View
from models.training.packed_films import PackedFilm, read_films
from models.training.packed_measure import film_truth
from workers.engine.interface import EngineRequest
from workers.learned import load

from .detectable_page import gather, page
from .full_size import Change, changes
from .full_size import table as rows_of_changes
from .one_knob import KNOBS
from .pairs import Tally, as_analysis, compared, count_knob, quiet
from .profiles import SESSION
from .session_errors import (
    ANY_VIEW,
    Filmed,
    Player,
    Shares,
    shares,
    table_text,
)

FILMS = 2 * SESSION + 1
FULL_SIZE = """
## Changes at full size

Differences of two sessions of one player as told, beside the true ones ({players} players; a row
has at least 12 differences; in each player one knob of the motion was turned, so that many metrics
hardly moved: the last row is of those whose true differences spread over half a tolerance). What films show less of is undone by shares from all *other* players. The
generator of these movements is one of the calibration's: bodies, cameras and films are new, its way
of moving is not.

{table}
"""
FROM_TABLE = ("repeat_sd", "session_sd", "shown_share", "usual_shown_share")
"""What a metric knows from the table."""


def read_players(folder: Path) -> list[Player]:
    """The players of a folder of packs whose nine films are all there."""
    films: dict[int, dict[int, Filmed | None]] = defaultdict(dict)
    for path in sorted(folder.glob("*.npz")):
        for film in read_films(path):
            player, number = divmod(int(film.name.rpartition("-")[2]), FILMS)
            films[player][number] = measured(film)
    players = []
    for player, seen in sorted(films.items()):
        if len(seen) == FILMS:
            rows = range(SESSION), range(SESSION, FILMS - 1), range(FILMS - 1, FILMS)
            sides = [[seen[n] for n in numbers] for numbers in rows]
            one, two, away = (tuple(f for f in side if f is not None) for side in sides)
            players.append(Player(player, one, two, away))
    return players


def measured(film: PackedFilm) -> Filmed | None:
    """What the engine says of a film of one serve, and what is true; None if it found another
    number of serves.
    """
    truth = film_truth(film)
    found = load().analyse(film.track, EngineRequest(stature_m=truth.stature_m))
    if len(found.repetitions) != 1:
        return None
    frames = len(film.motion.time_s)
    size = {"width": film.track.width, "height": film.track.height}
    return Filmed(as_analysis(found, {"n_frames": frames, "fps": film.fps} | size), truth)


def with_shares(film: Filmed, table: Shares) -> Analysis:
    """The analysis with what a table says of each `Metric`."""

    view = film.analysis.view.label.value

    def set_one(metric: Metric) -> Metric:
        name = metric_name(metric.key, metric.event)
        row = table.get((name, view)) or table.get((name, ANY_VIEW))
        if row is None or metric.low is None or metric.high is None:
            return metric.model_copy(update=dict.fromkeys(FROM_TABLE))
        sd = (metric.high - metric.low) / (2 * Z95)
        repeat = float(np.hypot(row[0], row[1])) * sd
        shown = {"shown_share": row[2], "usual_shown_share": row[3]}
        session = {"repeat_sd": repeat, "session_sd": row[0] * sd}
        return metric.model_copy(update=session | shown)

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
        count_knob(tally, knob, compared(one, two, knob.names if focus else ()), *truths)
        if away:
            tally.refilmed += 1
            tally.refilmed_quiet += quiet(compared(one[:1], away))
        halves = one[::2], one[1::2]
        if all(halves):
            tally.same += 1
            tally.same_quiet += quiet(compared(*halves))
    return tally


def full_size(players: Sequence[Player], serves: int = SESSION) -> list[Change]:
    """Differences of each player's sessions, by shares from all other players."""
    found = []
    for player in players:
        table = shares(other for other in players if other is not player)
        sides = [side[:serves] for side in (player.first, player.second)]
        one, two = ([with_shares(film, table) for film in side] for side in sides)
        truths = [[film.truth for film in side] for side in sides]
        if one and two:
            found += changes(compared(one, two).differences, *truths)
    return found


def changes_page(players: Sequence[Player], table: Shares, path: str) -> str:
    """How large a change must be so that a comparison sees it, by metric and view."""
    seen = [
        [[with_shares(film, table) for film in side] for side in (player.first, player.second)]
        for player in players
        if player.first and player.second
    ]

    def rows(index: int, name: str) -> tuple[View, Sequence[MetricDifference]]:
        one, two = seen[index]
        return one[0].view.label, compared(one, two, (name,)).differences

    return page(gather(rows, len(seen)), len(seen), SESSION, path) + FULL_SIZE.format(
        table=rows_of_changes(full_size(players)), players=len(seen)
    )


def main() -> None:
    """Command line of this module."""
    parser = argparse.ArgumentParser(prog="python -m models.training.rendered.two_sessions")
    parser.add_argument("--page", type=Path, help="write what a comparison can show")
    parser.add_argument("folder", type=Path)
    parser.add_argument("--write", type=Path)
    options = parser.parse_args()
    players = read_players(options.folder)
    table = shares(players)
    if options.write:
        options.write.write_text(table_text(table, len(players)), "utf-8")
    if options.page:
        options.page.write_text(changes_page(players, table, options.page.as_posix()), "utf-8")
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
