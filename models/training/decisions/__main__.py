"""``python -m models.training decisions``: decisions on invented players against what is true.

Prints a table: right, wrong and undecided by kind of decision.

Without films, errors are drawn: what all films of one
place err alike, what all serves of a session share, what differs from serve to serve, and that
films show less of a change than there is, by the engine's calibration from the side at 60 frames a
second, with heavier tails than documents state. Squat or coil is judged as the engine judges it.
Not drawn: serves missed, events at wrong times,
joints of somebody else, cameras that moved.

``--films PACKS`` judges the same players on rendered films that the networks and the engine really
saw: three serves a session and three holds a player, packs of ``python -m models.training bulk
--profile decided``. Players whose films are not all there are left out.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np

from models.contract.vocabulary import RepetitionKind
from models.training.packed_films import packs_of
from models.training.rendered.invented import HOLD_S
from workers.learned import load

from .filmed import FPS, VIEW, Camera
from .judged import LOAD, Decision, Films, decided
from .page import ABOUT_FILMS, page
from .players import Player, players
from .rendered_players import Losses, complete_players, measured_films
from .table import counted, table, tables

SERVES = 5
"""Serves a session, drawn."""
HOLDS = 4
"""Holds in the drill's clip, drawn, of which the shipped rules ask three."""


def drawn(player: Player, camera: Camera) -> Iterator[Decision]:
    """Yield the decisions on one player whose films are drawn."""
    before, _ = camera.film(player.baseline, SERVES, coil=player.coil)
    after, _ = camera.film(player.practised, SERVES)
    later, _ = camera.film(player.later, SERVES)
    truths = {LOAD: player.held, "hold_duration": HOLD_S}
    holds, held = camera.film(truths, HOLDS, RepetitionKind.HOLD)
    yield from decided(player, Films((before,), (after,), (later,), (holds,), tuple(held)))


def tally(seed: int, draws: int) -> dict[str, Counter[str]]:
    """Return right, wrong and undecided by kind of decision on drawn films.

    Parameters
    ----------
    seed : int
        Of the players and of the errors.
    draws : int
        How often each player is filmed anew.
    """
    errors = load().learned.calibration
    counts: dict[str, Counter[str]] = {}
    for number, player in enumerate(players(seed)):
        for draw in range(draws):
            camera = Camera(errors, np.random.default_rng([seed, number, draw]), player.baseline)
            counted(counts, drawn(player, camera))
    return counts


def tally_films(
    packs: Sequence[Path], losses: Losses, each: bool
) -> dict[str, dict[str, Counter[str]]]:
    """Return right, wrong and undecided by kind of decision on rendered films, by frame rate.

    ``each``: print every decision that is not right, too.
    """
    by_rate: dict[str, dict[str, Counter[str]]] = {}
    for player, films in complete_players(measured_films(packs), losses):
        found = list(decided(player, films))
        counted(by_rate.setdefault(films.rate, {}), found)
        if each:
            loads = (player.baseline[LOAD], player.practised[LOAD], player.later[LOAD])
            print(
                f"player {player.name}: load {', '.join(f'{x:.2f}' for x in loads)} "
                f"({player.course}), turn {player.coil.turn:.0f} of bend {player.coil.bend:.0f}, "
                f"held {player.held:.2f}: "
                + "; ".join(f"{one.about} {one.how}" for one in found if one.how != "right")
            )
    return by_rate


def main(arguments: Sequence[str] | None = None) -> int:
    """Entry point; returns the exit code."""
    parser = argparse.ArgumentParser(prog="python -m models.training decisions")
    parser.add_argument("--seed", type=int, default=91, help="of players and errors drawn")
    parser.add_argument("--draws", type=int, default=20, help="how often each player is filmed")
    parser.add_argument("--films", type=Path, nargs="+", help="packs of rendered films, or folders")
    parser.add_argument("--each", action="store_true", help="what is not right, player by player")
    parser.add_argument("--about", default=ABOUT_FILMS, help="what the films are, for the page")
    parser.add_argument("--page", type=Path, help="write the table on films as a page")
    options = parser.parse_args(arguments)
    if options.films is None:
        if options.page is not None:
            parser.error("--page needs --films: the page is about films")
        print(f"24 invented players, {options.draws} times each, seed {options.seed};")
        print(f"simulated, nobody filmed: errors by the calibration, {VIEW.value}, {FPS:.0f}/s.\n")
        print("\n".join(table(tally(options.seed, options.draws))))
        return 0
    packs = packs_of(options.films)
    losses = Losses()
    by_rate = tally_films(packs, losses, options.each)
    if not by_rate:
        print(losses.told())
        return 1
    print(f"{losses.told()}\n")
    print("\n".join(tables(by_rate)))
    if options.page is not None:
        options.page.write_text(page(by_rate, losses.told(), options.about), "utf-8")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
