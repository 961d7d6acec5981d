"""What the product decides on one player, held against what is true of the player."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from models.contract.analysis import Analysis
from models.contract.coil import TURN_PER_BEND
from models.contract.comparison import Direction, MetricDifference, Verdict
from models.contract.interval import Z95
from models.contract.plan import Criterion, DrillDecision, Finding, PracticePlan, RankedFinding
from models.contract.progress import RetentionVerdict, SessionKind
from models.contract.vocabulary import EventName
from models.practice.rules import shipped_rules
from workers.decide.coil import asks_for_coil
from workers.decide.compare import Group, compare
from workers.decide.drill import judge_drill
from workers.decide.plan import make_plan
from workers.decide.progress import progress
from workers.decide.sessions import SessionAnalyses
from workers.decide.verdicts import CHANGED, goals_of

from .coiling import TURN_SD
from .players import Player, Values

FOCUS = "rear_foot_load_share"
LOAD = f"{FOCUS}@{EventName.LOADING.value}"
"""Weight over the rear foot by posture at the loaded instant: what practice changes."""
START = datetime(2026, 3, 2, 10, tzinfo=UTC)
RULES = shipped_rules()
DRILL = "hold_loaded"


@dataclass(frozen=True)
class Decision:
    """One decision.

    Attributes
    ----------
    about : str
        What was decided on.
    how : str
        ``right``, ``wrong`` or ``undecided``.
    away : float or None
        How far the true value lies from the limit, in standard errors that the films state of it;
        None where it is not asked for or not stated.
    """

    about: str
    how: str
    away: float | None = None


@dataclass(frozen=True)
class Films:
    """What was made of one player's films.

    Attributes
    ----------
    before, after, later : tuple of Analysis
        Serves of the baseline, after practice, and a week later.
    holds : tuple of Analysis
        The clips of the drill.
    held : tuple of Values
        What is true of each repetition of the drill that was filmed.
    """

    before: tuple[Analysis, ...]
    after: tuple[Analysis, ...]
    later: tuple[Analysis, ...]
    holds: tuple[Analysis, ...]
    held: tuple[Values, ...]

    @property
    def rate(self) -> str:
        """Frames a second of the films of serves, as words."""
        serves = (*self.before, *self.after, *self.later)
        rates = sorted({round(film.clip.frame_rate) for film in serves})
        return " and ".join(map(str, rates)) or "unknown"


def decided(player: Player, films: Films) -> Iterator[Decision]:
    """Yield the decisions on one player."""
    yield from _findings(player, make_plan(RULES, films.before))
    yield Decision("change of the load", _change(player, _difference(films)))
    yield Decision("kept or relapsed", _kept(player, _retention(player, films)))
    yield Decision("drill: static hold", _hold(films), _away_from_drill(films))


def _difference(films: Films) -> MetricDifference | None:
    sides = (_group("before", films.before), _group("after", films.after))
    found = compare(*sides, same_player=True, focus=[FOCUS], goals=goals_of(RULES))
    rows = (r for r in found.differences if r.key == FOCUS and r.event is not None)
    return next(rows, None)


def _group(label: str, films: Sequence[Analysis]) -> Group:
    return Group(label, tuple((f"{label} {n}", film) for n, film in enumerate(films, 1)))


def _retention(player: Player, films: Films) -> RetentionVerdict | None:
    days = ((SessionKind.BASELINE, 0), (SessionKind.ACQUISITION, 3), (SessionKind.RETENTION, 10))
    sessions = [
        SessionAnalyses(kind.value, kind, START + timedelta(days=day), analyses)
        for (kind, day), analyses in zip(
            days, (films.before, films.after, films.later), strict=True
        )
    ]
    course = progress(
        player.name, sessions, now=START + timedelta(days=11), focus=[FOCUS], rules=RULES
    )
    return next((m.verdict for m in course.metrics if m.key == FOCUS), None)


def _findings(player: Player, plan: PracticePlan) -> Iterator[Decision]:
    named = {f.finding.id for f in (plan.focus, *plan.others) if f is not None}
    open_ones = {u.ranked.finding.id for u in plan.undecided}
    open_ones |= {str(line.parameters["finding"]) for line in plan.not_judged}
    stated = {one.finding.id: one for one in _every(plan)}
    for finding in RULES.findings:
        if asks_for_coil(finding):
            turn, limit = player.coil.turn, TURN_PER_BEND * player.coil.bend
            apart = abs(turn - limit) / TURN_SD
            yield _finding(finding, player.coil.only_bent, named, open_ones, apart)
            continue
        keys = [key for key in (finding.otherwise, finding.metric) if key is not None]
        names = [f"{key}@{finding.event.value}" for key in keys if finding.event is not None]
        truth = next((player.baseline[name] for name in names if name in player.baseline), None)
        if truth is None:
            continue
        holds = truth <= finding.value if finding.is_ == "<=" else truth >= finding.value
        known = stated.get(finding.id)
        away = None if known is None else _away(truth, finding.value, known.low, known.high)
        yield _finding(finding, holds, named, open_ones, away)


def _every(plan: PracticePlan) -> list[RankedFinding]:
    """Return all findings that a plan states a value of."""
    told = [one for one in (plan.focus, *plan.others) if one is not None]
    return [*told, *(one.ranked for one in plan.undecided)]


def _away(truth: float, limit: float, low: float | None, high: float | None) -> float | None:
    if low is None or high is None or high <= low:
        return None
    return abs(truth - limit) / ((high - low) / (2.0 * Z95))


def _finding(
    finding: Finding, holds: bool, named: set[str], open_ones: set[str], away: float | None
) -> Decision:
    label = f"finding: {finding.id.replace('_', ' ')}"
    if finding.id in open_ones:
        return Decision(label, "undecided", away)
    return Decision(label, "right" if (finding.id in named) == holds else "wrong", away)


def _change(player: Player, row: MetricDifference | None) -> str:
    if row is None or row.verdict is Verdict.CANNOT_TELL:
        return "undecided"
    if player.course == "no_gain":
        return "wrong" if row.verdict in CHANGED else "right"
    if row.verdict not in CHANGED:  # says how large a change may go unseen
        return "undecided"
    return "right" if row.direction is Direction.TOWARDS else "wrong"


def _kept(player: Player, verdict: RetentionVerdict | None) -> str:
    if verdict is None:
        return "undecided"
    said = {
        RetentionVerdict.HELD: "kept",
        RetentionVerdict.PARTLY_HELD: "kept",
        RetentionVerdict.LOST: "relapse",
    }.get(verdict)
    if player.course == "no_gain":
        return "right" if verdict is RetentionVerdict.NO_GAIN else "wrong" if said else "undecided"
    return "undecided" if said is None else "right" if said == player.course else "wrong"


def _hold(films: Films) -> str:
    found = judge_drill(RULES, "weight_not_on_rear_foot", DRILL, films.holds)
    if found.decision in (DrillDecision.TOO_CLOSE, DrillDecision.FILM_AGAIN):
        return "undecided"
    asked = next(d for d in RULES.drills if d.id == DRILL).advance_when
    enough = all(_often_enough(criterion, films.held) for criterion in asked)
    return "right" if (found.decision is DrillDecision.ADVANCE) == enough else "wrong"


def _away_from_drill(films: Films) -> float | None:
    """Return how far the held weight truly lies from what the drill asks."""
    asked = next(d for d in RULES.drills if d.id == DRILL).advance_when
    limit = next(one.value for one in asked if one.metric == FOCUS)
    true = [one[LOAD] for one in films.held if LOAD in one]
    ends = [
        (m.low, m.high)
        for film in films.holds
        for repetition in film.repetitions
        for m in repetition.metrics
        if m.key == FOCUS and m.low is not None and m.high is not None
    ]
    if not true or not ends:
        return None
    low, high = (sum(end) / len(ends) for end in zip(*ends, strict=True))
    return _away(sum(true) / len(true), limit, low, high)


def _often_enough(criterion: Criterion, true: Sequence[Values]) -> bool:
    """Return whether as many repetitions as asked truly meet a criterion, which asks for more."""
    met = [
        any(
            value >= criterion.value
            for name, value in one.items()
            if name.partition("@")[0] == criterion.metric
        )
        for one in true
    ]
    return sum(met) >= criterion.repetitions
