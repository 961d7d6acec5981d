"""Generated documents do not contradict themselves: thresholds, readings, cards against the plan.

``SERVEWRIGHT_TEST_EXAMPLES=2000 python -m pytest`` on this file tries more.
The rules checked are the contract's own; what holds of Holm's procedure is held against the
step-down form (Scand J Stat 1979, 6(2):65-70).
"""

from __future__ import annotations

import math
import os
from collections import defaultdict
from datetime import UTC, datetime, timedelta
from random import Random
from typing import NamedTuple

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as hs

from models.contract.comparison import Direction, Verdict
from models.contract.metrics.catalogue import CATALOGUE
from models.contract.metrics.definition import metric_name
from models.contract.metrics.possible import largest_change
from models.contract.plan import DrillDecision
from models.contract.progress import RetentionVerdict, SessionKind
from models.contract.vocabulary import EventName, RepetitionKind
from models.practice.rules import shipped_rules
from models.words import english
from tests.unit.decide.builders import analysis, metric, repetition
from workers.decide.compare import Group, compare
from workers.decide.drill import DECIDED, judge_drill
from workers.decide.plan import HOLDS, make_plan
from workers.decide.progress import progress
from workers.decide.sessions import SessionAnalyses
from workers.decide.statistics import holm
from workers.decide.verdicts import ALPHA, CHANGED, goals_of, risks
from workers.report.findings import ruled, statements
from workers.report.goals import share_goal

RULES = shipped_rules()
GOALS = goals_of(RULES)
T0 = datetime(2026, 3, 2, 10, tzinfo=UTC)
many = settings(
    max_examples=int(os.environ.get("SERVEWRIGHT_TEST_EXAMPLES", "100")),
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
)
SCALES = {"deg": 30.0, "1": 0.3, "s": 0.5, "ms": 60.0, "m": 0.3, "m/s": 2.0, "deg/s": 300.0}


class Slot(NamedTuple):
    key: str
    event: EventName | None
    unit: str

    @property
    def movement(self) -> str:
        return CATALOGUE.movement(self.key)


SLOTS = [
    Slot(one.key, taken.event, one.unit.value)
    for one, taken in CATALOGUE.instants()
    if not one.yes_no
]


class Player:
    """Invented values of some metrics, moved between sessions, with errors of any size."""

    def __init__(self, random: Random) -> None:
        self._random = random
        slots = random.sample(SLOTS, random.randint(1, 20))
        if random.random() < 0.7:  # readings of one movement, which could contradict
            movement = random.choice(["pelvis_turn", "rear_foot_load_share", "knee_turn"])
            slots += [s for s in SLOTS if s.movement == movement and s not in slots]
        ruled_by = {(f.metric, f.event) for f in RULES.findings}
        slots += [s for s in SLOTS if (s.key, s.event) in ruled_by and s not in slots]
        self.slots = slots
        self._at = {s: random.gauss(0.5, 0.5) * SCALES[s.unit] + 0.3 for s in slots}
        self._half = {s: SCALES[s.unit] * math.exp(random.gauss(-1.5, 1.5)) for s in slots}

    def film(self, kind: RepetitionKind = RepetitionKind.SERVE, moved: float = 0.0):
        """Return one film; ``moved`` = how far every other metric has moved, in scales."""
        draw, repetitions = self._random, []
        for _ in range(draw.randint(1, 5)):
            values = []
            for number, slot in enumerate(self.slots):
                half = self._half[slot]
                shift = moved * (number % 3 - 1) * SCALES[slot.unit]
                value = self._at[slot] + shift + draw.gauss(0, half / 3)
                values.append(metric(slot.key, value, half, event=slot.event, unit=slot.unit))
            repetitions.append(repetition(*values, kind=kind))
        return analysis(*repetitions)

    def focus(self) -> list[str]:
        chosen = self._random.sample(self.slots, self._random.randint(0, 2))
        return [metric_name(one.key, one.event) for one in chosen]


randoms = hs.integers(0, 2**32 - 1).map(Random)
"""Seeded, not drawn value by value: a generated player takes thousands of draws."""


def check_figures(row) -> None:
    """Hold one row's verdict against the figures beside it."""
    span = largest_change(row.key)
    figures = (row.difference, row.low, row.high, row.mdc95, row.threshold, row.detectable)
    assert all(f is None or abs(f) <= span for f in figures), row
    if row.verdict is Verdict.CANNOT_TELL:
        assert figures == (None,) * 6
        assert row.reason is not None
        assert row.direction is None
        return
    moved, excludes = abs(row.difference), row.low > 0 or row.high < 0
    if row.verdict is Verdict.SURELY_CHANGED:
        assert moved >= row.threshold >= row.mdc95
        assert excludes
    elif row.verdict is Verdict.PROBABLY_CHANGED:
        assert moved >= row.mdc95
        assert row.threshold is None or moved < row.threshold
        assert excludes
    else:
        assert moved < row.mdc95 or moved == 0
        assert not excludes or moved == row.mdc95
        assert row.detectable is not None
        assert row.direction is None
    goal = GOALS.get(metric_name(row.key, row.event))
    if row.direction is not None:
        assert (row.direction is Direction.TOWARDS) == (row.difference * goal > 0)


def check_readings(rows) -> None:
    """Readings of one movement: all changes one way, and none without beside one with."""
    groups = defaultdict(list)
    for row in rows:
        groups[CATALOGUE.movement(row.key)].append(row)
    for members in groups.values():
        if len({row.key for row in members}) < 2:
            continue
        changed = [row for row in members if row.verdict in CHANGED]
        assert len({row.difference > 0 for row in changed}) <= 1
        assert not changed or all(row.verdict is not Verdict.NO_CHANGE_SEEN for row in members)


@many
@given(randoms)
def test_a_comparison_does_not_contradict_itself(random: Random) -> None:
    player = Player(random)
    sides = [
        Group(name, ((name, player.film(moved=moved)),))
        for name, moved in (("a", 0.0), ("b", random.choice([0.0, 0.2, 1.0])))
    ]
    found = compare(*sides, focus=player.focus(), goals=GOALS)
    for row in found.differences:
        check_figures(row)
    check_readings(found.differences)
    surely = {r.key for r in found.differences if r.verdict is Verdict.SURELY_CHANGED}
    assert {key for link in found.linked for key in link.keys} == surely


@many
@given(
    hs.lists(
        hs.tuples(hs.floats(0, 1), hs.floats(0.01, 1)),
        min_size=1,
        max_size=30,
    )
)
def test_one_cut_decides_as_the_step_down_procedure_does(tests) -> None:
    p_values, weights = zip(*tests, strict=True)
    adjusted = holm(p_values, weights)
    for p, risk, final in zip(p_values, risks(p_values, weights), adjusted, strict=True):
        if abs(final - ALPHA) > 1e-9:
            assert (p <= risk) == (final <= ALPHA)


@many
@given(randoms)
def test_progress_does_not_contradict_itself(random: Random) -> None:
    player = Player(random)
    gain, kept = random.choice([0.0, 0.5, 2.0]), random.choice([0.0, 0.5, 1.0])
    occasions = [
        (SessionKind.BASELINE, 0, 0.0),
        (SessionKind.ACQUISITION, 3, gain),
        (SessionKind.RETENTION, 10, kept * gain),
        (SessionKind.TRANSFER, 11, kept * gain),
    ][: random.randint(1, 4)]
    found = progress(
        "p",
        [
            SessionAnalyses(kind.value, kind, T0 + timedelta(days=day), (player.film(moved=by),))
            for kind, day, by in occasions
        ],
        now=T0 + timedelta(days=12),
        focus=player.focus(),
        rules=RULES,
    )
    groups = defaultdict(set)
    for row in found.metrics:
        if row.gain is not None:
            span = largest_change(row.key)
            figures = (row.gain, row.gain_mdc95, row.gain_threshold, row.gain_detectable)
            assert all(f is None or abs(f) <= span for f in figures)
            surely = row.gain_verdict is Verdict.SURELY_CHANGED
            assert row.gain_threshold is None or surely == (abs(row.gain) >= row.gain_threshold)
        if row.verdict in (RetentionVerdict.HELD, RetentionVerdict.PARTLY_HELD):
            assert row.retention.low > 0
            groups[CATALOGUE.movement(row.key), row.key].add("stayed")
        if row.verdict is RetentionVerdict.LOST:
            assert row.retention.value < 0.2
            groups[CATALOGUE.movement(row.key), row.key].add("lost")
        if row.verdict is RetentionVerdict.NO_GAIN:
            assert row.gain_verdict is Verdict.NO_CHANGE_SEEN
            assert row.retention is None
    by_movement = defaultdict(list)
    for (movement, _), said in groups.items():
        by_movement[movement].append(said)
    for said in by_movement.values():
        assert len(said) < 2 or len(set().union(*said)) == 1
    relapsed = found.answer.code in ("answer_relapse", "answer_partly")
    if found.relapse is not None:
        assert relapsed
        assert found.next_check.kind is SessionKind.ACQUISITION
        assert found.relapse.check.not_before > found.relapse.practise_until
    else:
        assert found.answer.code != "answer_relapse"


@many
@given(randoms)
def test_cards_say_what_the_plan_says(random: Random) -> None:
    player = Player(random)
    rules = RULES
    if random.random() < 0.5:
        own = tuple(
            f.model_copy(update={"value": f.value * random.uniform(0.7, 1.3)})
            for f in RULES.findings
        )
        rules = RULES.model_copy(update={"findings": own})
    film = player.film()
    plan = make_plan(rules, [film])
    weight = next(f for f in rules.findings if f.id == "weight_not_on_rear_foot")
    assert share_goal(plan.thresholds, (EventName.LOADING,)) == weight.value  # what pictures draw
    ranked = [f for f in (plan.focus, *plan.others) if f is not None]
    assert all(f.certainty >= HOLDS for f in ranked)
    assert all(1 - HOLDS < u.ranked.certainty < HOLDS for u in plan.undecided)
    named = {f.finding.id for f in ranked}
    open_ones = {u.ranked.finding.id for u in plan.undecided}
    missing = {line.parameters["finding"] for line in plan.not_judged}
    assert not named & open_ones
    words = english()
    cards = statements(film, words, plan)
    thresholds = {key: t for t in plan.thresholds for key in t.metrics}
    for card in cards:
        assert "Perhaps" not in card.headline
        if card.number is None:
            continue
        key, event = card.number.metric.key, card.number.metric.event
        threshold = thresholds.get(key)
        if threshold is None or threshold.event != event:
            continue
        if card.band is not None:
            ends = (card.band.low, card.band.high)
            assert threshold.value in ends
            assert ruled(card.band, threshold) == card.band
        if card.tone == "work":
            assert threshold.finding in named
        if card.tone == "fine":
            assert threshold.finding not in named | open_ones | missing


@many
@given(randoms, hs.sampled_from([f.id for f in RULES.findings]))
def test_a_drill_decision_agrees_with_its_counts(random: Random, finding: str) -> None:
    player = Player(random)
    order = next(f for f in RULES.findings if f.id == finding).drills
    drill = random.choice(order)
    stage = next(d for d in RULES.drills if d.id == drill).stage
    found = judge_drill(RULES, finding, drill, [player.film(kind=stage)])
    counts = [(o.criterion.repetitions, o) for o in found.outcomes]
    assert all(o.surely_met <= o.met <= o.measured for _, o in counts)
    if any(o.measured < asked for asked, o in counts):
        assert found.decision is DrillDecision.FILM_AGAIN
    elif found.decision is DrillDecision.ADVANCE:
        assert all(o.met >= asked for asked, o in counts)
        sure = all(o.surely_met >= asked for asked, o in counts)
        assert sure or found.certainty >= DECIDED
    elif found.decision is DrillDecision.GO_BACK:
        assert drill != order[0]
        assert any(o.surely_met < asked for asked, o in counts)
        assert found.certainty >= DECIDED
    if all(o.surely_met >= asked for asked, o in counts):
        assert found.decision is DrillDecision.ADVANCE
    if found.decision is DrillDecision.TOO_CLOSE:
        assert found.certainty < DECIDED


def test_a_generated_contradiction_is_noticed() -> None:
    player = Player(Random(1))
    sides = [Group(n, ((n, player.film(moved=m)),)) for n, m in (("a", 0.0), ("b", 1.0))]
    rows = compare(*sides).differences
    row = next(r for r in rows if r.verdict is Verdict.NO_CHANGE_SEEN and r.mdc95)
    with pytest.raises(AssertionError):
        check_figures(row.model_copy(update={"verdict": Verdict.SURELY_CHANGED}))
