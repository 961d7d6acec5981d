from __future__ import annotations

import pytest

from models.contract.errors import InvalidRequest
from models.contract.plan import DrillDecision
from models.contract.vocabulary import EventName, RepetitionKind
from models.practice.rules import merge_rules, parse_rules, shipped_text
from tests.unit.decide.builders import analysis, metric, repetition
from workers.decide.drill import judge_drill
from workers.decide.plan import make_plan

SHIPPED = shipped_text()
RULES = parse_rules(SHIPPED)
LOADING = EventName.LOADING


def _load(value: float | None, half: float = 0.03, event: EventName | None = LOADING):
    return metric(
        "rear_foot_load_share", value, half, event=event, unit="1", reason="Film from the side."
    )


def _hold(share: float, seconds: float):
    return repetition(
        _load(share),
        metric("hold_duration", seconds, 0.1, event=None, unit="s"),
        kind=RepetitionKind.HOLD,
    )


def test_the_largest_certain_effect_becomes_the_only_focus() -> None:
    serve = repetition(
        _load(0.40), metric("shoulder_line_tilt", 8.0, 3.0), metric("front_knee_flexion", 70.0)
    )
    plan = make_plan(RULES, [analysis(serve)])
    assert plan.focus.finding.id == "weight_not_on_rear_foot"
    assert plan.focus.certainty > 0.99
    assert [f.finding.id for f in plan.others] == ["shoulders_level"]
    stages = [s.drill.stage for s in plan.steps]
    assert stages == [
        RepetitionKind.HOLD,
        RepetitionKind.SHADOW,
        RepetitionKind.THROW,
        RepetitionKind.SERVE,
    ]
    assert [s.state for s in plan.steps] == ["next", "later", "later", "later"]
    assert any("licensed" in c.text for c in plan.cautions)


def test_an_uncertain_finding_ranks_behind_a_certain_one_of_equal_size() -> None:
    serve = repetition(_load(0.50, 0.30), metric("shoulder_line_tilt", 2.0, 0.5))
    plan = make_plan(RULES, [analysis(serve)])
    assert plan.focus.finding.id == "shoulders_level"


def test_what_could_not_be_measured_is_said() -> None:
    plan = make_plan(RULES, [analysis(repetition(_load(None)))])
    assert plan.focus is None
    assert plan.steps == ()
    assert any(
        line.text.startswith("weight_not_on_rear_foot: Film from") for line in plan.not_judged
    )


def test_finished_steps_are_marked_done() -> None:
    plan = make_plan(RULES, [analysis(repetition(_load(0.4)))], done=["hold_loaded"])
    assert [s.state for s in plan.steps] == ["done", "next", "later", "later"]


@pytest.mark.parametrize(
    ("holds", "decision", "following"),
    [
        ([(0.66, 3.2)] * 3, DrillDecision.ADVANCE, "shadow_slow"),
        ([(0.66, 3.2)] * 2, DrillDecision.FILM_AGAIN, "hold_loaded"),
        ([(0.66, 3.2), (0.50, 3.2), (0.52, 3.1)], DrillDecision.REPEAT, "hold_loaded"),
        ([(0.50, 3.2)] * 4, DrillDecision.REPEAT, "hold_loaded"),  # first step: nowhere to go back
        ([], DrillDecision.FILM_AGAIN, "hold_loaded"),
    ],
)
def test_three_static_holds_of_three_seconds(holds, decision, following) -> None:
    outcome = judge_drill(
        RULES, "weight_not_on_rear_foot", "hold_loaded", [analysis(*[_hold(*h) for h in holds])]
    )
    assert (outcome.decision, outcome.next_drill) == (decision, following)


def test_a_later_step_can_send_back() -> None:
    shadows = [repetition(_load(0.40), kind=RepetitionKind.SHADOW) for _ in range(5)]
    outcome = judge_drill(RULES, "weight_not_on_rear_foot", "shadow_slow", [analysis(*shadows)])
    assert (outcome.decision, outcome.next_drill) == (DrillDecision.GO_BACK, "hold_loaded")


def test_a_drill_clip_that_cannot_be_measured_asks_for_another_film() -> None:
    clip = analysis(repetition(_load(None), kind=RepetitionKind.SHADOW))
    outcome = judge_drill(RULES, "weight_not_on_rear_foot", "shadow_slow", [clip])
    assert outcome.decision == DrillDecision.FILM_AGAIN


def test_a_coach_overrides_one_threshold_and_removes_a_finding() -> None:
    own = """
    name: Coach's own
    remove: [shoulders_level]
    findings:
      - {id: weight_not_on_rear_foot, metric: rear_foot_load_share, event: loading, is: "<=",
         value: 0.55, unit: "1", scale: 0.1, text: Heavier on the rear foot, source: my own rule,
         drills: [hold_loaded]}
    """
    rules = merge_rules(RULES, own)
    assert rules.name == "Coach's own"
    found = {f.id: f for f in rules.findings}
    assert found["weight_not_on_rear_foot"].value == 0.55
    assert "shoulders_level" not in found
    assert len(rules.drills) == len(RULES.drills)


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("findings: [", "YAML"),
        ("just words", "mapping"),
        ("findings: []\ndrills: []", "name"),
        (SHIPPED.replace("drills: [throw_up, serve_easy]", "drills: [nowhere]"), "nowhere"),
        (SHIPPED.replace("sets: 3", "sets: 0"), "sets"),
        (SHIPPED + "\nextra: 1", "extra"),
    ],
)
def test_a_bad_rule_file_names_the_place(text: str, place: str) -> None:
    with pytest.raises(InvalidRequest) as caught:
        parse_rules(text)
    assert place in caught.value.detail
