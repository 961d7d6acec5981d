"""Drill decisions by probability. Values are invented; distributions by scipy."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from models.contract.plan import DrillDecision
from models.contract.vocabulary import EventName, RepetitionKind
from models.practice.rules import shipped_rules
from tests.unit.decide.builders import analysis, metric, repetition
from workers.decide.chances import Margin, counts
from workers.decide.drill import judge_drill
from workers.decide.followed import criteria_of
from workers.decide.plan import make_plan

RULES = shipped_rules()
FINDING = "weight_not_on_rear_foot"


def shadows(*shares: float, half: float = 0.07):
    return analysis(
        *(
            repetition(
                metric("rear_foot_load_share", one, half, event=EventName.LOADING, unit="1"),
                kind=RepetitionKind.SHADOW,
            )
            for one in shares
        )
    )


def test_without_a_shared_error_the_counts_are_binomial() -> None:
    found = counts([Margin(0.0, 0.0, 1.0)] * 5)
    assert found == pytest.approx(stats.binom.pmf(range(6), 5, 0.5), abs=1e-9)


def test_a_shared_error_makes_all_or_none_meet_it() -> None:
    """One normal error of all: P(all) = P(Z < 1) = 0.8413 (standard normal table)."""
    found = counts([Margin(1.0, 1.0, 1e-6)] * 4)
    assert found[4] == pytest.approx(0.8413, abs=0.001)
    assert found[0] == pytest.approx(0.1587, abs=0.001)
    assert float(np.sum(found)) == pytest.approx(1.0)


def test_shared_and_own_errors_against_drawn_ones() -> None:
    rng = np.random.default_rng(4)
    margins = [Margin(past, 0.05, 0.03) for past in (0.02, -0.01, 0.05)]
    shared = rng.normal(0, 0.05, (200_000, 1))
    true = np.array([m.past for m in margins]) - shared - rng.normal(0, 0.03, (200_000, 3))
    drawn = np.bincount((true >= 0).sum(axis=1), minlength=4) / len(true)
    assert counts(margins) == pytest.approx(drawn, abs=0.005)


def test_one_of_three_that_were_asked_for_never_sends_back() -> None:
    """A true share of 0.62, measured as 0.59 (0.52 to 0.66)."""
    outcome = judge_drill(RULES, FINDING, "shadow_slow", [shadows(0.59)])
    assert outcome.decision is DrillDecision.FILM_AGAIN
    assert outcome.reason.code == "fewer_than_asked"


def test_values_beside_the_threshold_are_too_close_to_call() -> None:
    outcome = judge_drill(RULES, FINDING, "shadow_slow", [shadows(0.59, 0.61, 0.6, 0.6, 0.59)])
    assert outcome.decision is DrillDecision.TOO_CLOSE
    assert outcome.next_drill == "shadow_slow"
    assert outcome.certainty is not None
    assert outcome.certainty < 0.85


@pytest.mark.parametrize(
    ("share", "decision"),
    [(0.75, DrillDecision.ADVANCE), (0.45, DrillDecision.GO_BACK)],
)
def test_clear_values_decide(share: float, decision: DrillDecision) -> None:
    outcome = judge_drill(RULES, FINDING, "shadow_slow", [shadows(*[share] * 5)])
    assert outcome.decision is decision
    assert outcome.certainty is not None
    assert outcome.certainty > 0.99


def test_surely_met_often_enough_advances_whatever_the_others_are() -> None:
    outcome = judge_drill(RULES, FINDING, "shadow_slow", [shadows(*[0.75] * 4, 0.3, 0.3, 0.3)])
    assert outcome.outcomes[0].surely_met == 4
    assert outcome.decision is DrillDecision.ADVANCE


def test_exit_criteria_follow_what_is_worked_on() -> None:
    drills = {drill.id: drill for drill in RULES.drills}
    for finding in RULES.findings:
        asked = criteria_of(RULES, finding, drills["serve_easy"])
        goal = next(c for c in asked if c.metric == finding.metric)
        assert (goal.value, goal.is_, goal.event) == (finding.value, ">=", finding.event)
        assert {c.metric for c in asked} == {finding.metric}
    knees = next(f for f in RULES.findings if f.id == "knees_straight")
    held = criteria_of(RULES, knees, drills["hold_loaded"])
    assert {c.metric for c in held} == {"hold_duration", "front_knee_flexion"}


def test_a_squat_that_is_not_known_is_said_to_be_undecided_with_how_to_film() -> None:
    """A true ratio of 0.066 against 0.15, measured as 0.20 (-1.2 to 1.6)."""
    serve = repetition(
        metric("turn_to_bend_ratio", 0.2, 1.4, event=EventName.LOADING, unit="1"),
    )
    plan = make_plan(RULES, [analysis(serve)])
    assert plan.focus is None
    (squat,) = plan.undecided
    assert squat.ranked.finding.id == "squat_not_coil"
    assert math.isclose(squat.ranked.certainty, 0.47, abs_tol=0.01)
    assert "side" in squat.how_to_film.text
    assert "60" in squat.how_to_film.text


def test_a_squat_that_is_known_is_named() -> None:
    serve = repetition(metric("turn_to_bend_ratio", 0.02, 0.1, event=EventName.LOADING, unit="1"))
    plan = make_plan(RULES, [analysis(serve)])
    assert plan.focus is not None
    assert plan.focus.finding.id == "squat_not_coil"
