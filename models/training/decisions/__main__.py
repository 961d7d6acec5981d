"""``python -m models.training decisions``: decisions on invented players against what is true.

Prints a table: right, wrong and undecided by kind of decision. Errors drawn: what all films of one
place err alike, what all serves of a session share, what differs from serve to serve, and that
films show less of a change than there is, by the engine's calibration from the side at 60 frames a
second, with heavier tails than documents state. Squat or coil is judged as the engine judges it.
Not drawn: serves missed, events at wrong times,
joints of somebody else, cameras that moved.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime, timedelta

import numpy as np

from models.contract.comparison import Direction, Verdict
from models.contract.plan import DrillDecision, Finding, PracticePlan
from models.contract.progress import RetentionVerdict, SessionKind
from models.contract.vocabulary import RepetitionKind
from models.practice.rules import shipped_rules
from workers.decide.coil import asks_for_coil
from workers.decide.compare import Group, compare
from workers.decide.drill import judge_drill
from workers.decide.plan import make_plan
from workers.decide.progress import progress
from workers.decide.sessions import SessionAnalyses
from workers.decide.verdicts import CHANGED, goals_of
from workers.learned import load

from .filmed import FPS, VIEW, Camera
from .players import Player, players

SERVES = 5
"""Serves a session."""
HOLDS = 4
"""Holds in the drill's clip, of which the shipped rules ask three."""
HOLD_S = 4.0
"""How long each is held, seconds."""
FOCUS = "rear_foot_load_share"
START = datetime(2026, 3, 2, 10, tzinfo=UTC)
RULES = shipped_rules()

Decision = tuple[str, str]
"""What was decided on, and how: ``right``, ``wrong`` or ``undecided``."""


def decided(player: Player, camera: Camera) -> Iterator[Decision]:
    """Yield the decisions on one player."""
    before, _ = camera.film(player.baseline, SERVES, coil=player.coil)
    after, _ = camera.film(player.practised, SERVES)
    later, _ = camera.film(player.later, SERVES)
    yield from _findings(player, make_plan(RULES, [before]))
    sides = Group("before", (("a", before),)), Group("after", (("b", after),))
    found = compare(*sides, same_player=True, focus=[FOCUS], goals=goals_of(RULES))
    row = next(r for r in found.differences if r.key == FOCUS and r.event is not None)
    yield "change of the load", _change(player, row.verdict, row.direction)
    days = ((SessionKind.BASELINE, 0), (SessionKind.ACQUISITION, 3), (SessionKind.RETENTION, 10))
    sessions = [
        SessionAnalyses(kind.value, kind, START + timedelta(days=day), (film,))
        for (kind, day), film in zip(days, (before, after, later), strict=True)
    ]
    course = progress(
        player.name, sessions, now=START + timedelta(days=11), focus=[FOCUS], rules=RULES
    )
    kept = next(m for m in course.metrics if m.key == FOCUS)
    yield "kept or relapsed", _kept(player, kept.verdict)
    yield "drill: static hold", _hold(player, camera)


def _findings(player: Player, plan: PracticePlan) -> Iterator[Decision]:
    named = {f.finding.id for f in (plan.focus, *plan.others) if f is not None}
    open_ones = {u.ranked.finding.id for u in plan.undecided}
    open_ones |= {str(line.parameters["finding"]) for line in plan.not_judged}
    for finding in RULES.findings:
        if asks_for_coil(finding):
            yield _finding(finding, player.coil.only_bent, named, open_ones)
            continue
        keys = [key for key in (finding.otherwise, finding.metric) if key is not None]
        names = [f"{key}@{finding.event.value}" for key in keys if finding.event is not None]
        truth = next((player.baseline[name] for name in names if name in player.baseline), None)
        if truth is None:
            continue
        holds = truth <= finding.value if finding.is_ == "<=" else truth >= finding.value
        yield _finding(finding, holds, named, open_ones)


def _finding(finding: Finding, holds: bool, named: set[str], open_ones: set[str]) -> Decision:
    label = f"finding: {finding.id.replace('_', ' ')}"
    if finding.id in open_ones:
        return label, "undecided"
    return label, "right" if (finding.id in named) == holds else "wrong"


def _change(player: Player, verdict: Verdict, direction: Direction | None) -> str:
    if verdict is Verdict.CANNOT_TELL:
        return "undecided"
    if player.course == "no_gain":
        return "wrong" if verdict in CHANGED else "right"
    if verdict not in CHANGED:  # says how large a change may go unseen
        return "undecided"
    return "right" if direction is Direction.TOWARDS else "wrong"


def _kept(player: Player, verdict: RetentionVerdict) -> str:
    said = {
        RetentionVerdict.HELD: "kept",
        RetentionVerdict.PARTLY_HELD: "kept",
        RetentionVerdict.LOST: "relapse",
    }.get(verdict)
    if player.course == "no_gain":
        return "right" if verdict is RetentionVerdict.NO_GAIN else "wrong" if said else "undecided"
    return "undecided" if said is None else "right" if said == player.course else "wrong"


def _hold(player: Player, camera: Camera) -> str:
    truths = {f"{FOCUS}@loading": player.held, "hold_duration": HOLD_S}
    film, true = camera.film(truths, HOLDS, RepetitionKind.HOLD)
    found = judge_drill(RULES, "weight_not_on_rear_foot", "hold_loaded", [film])
    if found.decision in (DrillDecision.TOO_CLOSE, DrillDecision.FILM_AGAIN):
        return "undecided"
    asked = next(c for d in RULES.drills if d.id == "hold_loaded" for c in d.advance_when)
    enough = sum(one[f"{FOCUS}@loading"] >= asked.value for one in true) >= asked.repetitions
    return "right" if (found.decision is DrillDecision.ADVANCE) == enough else "wrong"


def table(counts: Mapping[str, Counter[str]]) -> list[str]:
    """Return the rows of the table, the sum last."""
    lines = ["| decision | cases | right | wrong | undecided |", "| --- | --- | --- | --- | --- |"]
    total: Counter[str] = Counter()
    for name, found in counts.items():
        total += found
        lines.append(_line(name, found))
    return [*lines, _line("all", total)]


def _line(name: str, found: Counter[str]) -> str:
    cases = sum(found.values())
    shares = (f"{100 * found[how] / cases:.1f} %" for how in ("right", "wrong", "undecided"))
    return f"| {name} | {cases} | {' | '.join(shares)} |"


def tally(seed: int, draws: int) -> dict[str, Counter[str]]:
    """Return right, wrong and undecided by kind of decision.

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
            for name, how in decided(player, camera):
                counts.setdefault(name, Counter())[how] += 1
    return counts


def main(arguments: Sequence[str] | None = None) -> int:
    """Entry point; returns the exit code."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=91)
    parser.add_argument("--draws", type=int, default=20, help="how often each player is filmed")
    options = parser.parse_args(arguments)
    print(f"24 invented players, {options.draws} times each, seed {options.seed};")
    print(f"simulated, nobody filmed: errors by the calibration, {VIEW.value}, {FPS:.0f}/s.\n")
    print("\n".join(table(tally(options.seed, options.draws))))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
