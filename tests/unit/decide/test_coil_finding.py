"""The squat is called one where it is, undecided with how to film where it is not known."""

from __future__ import annotations

import pytest

from models.contract.coil import TURN_PER_BEND
from models.contract.vocabulary import EventName
from models.practice.rules import shipped_rules
from models.words import LANGUAGES, catalogue, english
from tests.unit.decide.builders import analysis, coil, metric, repetition
from workers.decide.plan import make_plan
from workers.engine import coil as engine
from workers.report.findings import statements
from workers.report.plan_part import plan_words

RULES = shipped_rules()
RATIO = {"event": EventName.LOADING, "unit": "1"}


def _film(*judgements, ratio: float | None = 0.2, half: float = 1.4):
    """The squat that was once missed: measured 0.20 (-1.2 to 1.6), which tells nothing."""
    serve = repetition(metric("turn_to_bend_ratio", ratio, half, reason="Too uncertain.", **RATIO))
    return analysis(*(serve.model_copy(update={"coil": one}) for one in judgements))


def test_the_limit_is_the_one_the_engine_judges_by() -> None:
    assert engine.TURN_PER_BEND == TURN_PER_BEND
    squat = next(f for f in RULES.findings if f.id == "squat_not_coil")
    assert squat.value == TURN_PER_BEND


def test_a_squat_is_the_focus_though_the_ratio_tells_nothing() -> None:
    plan = make_plan(RULES, [_film(coil(0.05, 0.93), coil(0.1, 0.88), ratio=None)])
    assert plan.focus.finding.id == "squat_not_coil"
    # Films of one player err alike: the probability is that of one serve, (0.93 + 0.88) / 2.
    assert plan.focus.certainty == pytest.approx(0.905)
    assert plan.focus.value is None
    assert plan.steps[0].drill.id == "hold_coiled"


def test_a_coil_is_cleared() -> None:
    plan = make_plan(RULES, [_film(coil(0.9, 0.08))])
    named = {u.ranked.finding.id for u in plan.undecided}
    named |= {str(line.parameters["finding"]) for line in plan.not_judged}
    assert plan.focus is None
    assert "squat_not_coil" not in named


def test_what_is_not_known_is_undecided_with_how_to_film() -> None:
    plan = make_plan(RULES, [_film(coil(0.4, 0.5, reason="Film it from behind as well."))])
    open_ones = {u.ranked.finding.id: u.how_to_film.text for u in plan.undecided}
    assert open_ones["squat_not_coil"] == "Film it from behind as well."


def test_a_coachs_own_limit_is_judged_by_the_ratio() -> None:
    own = tuple(
        f.model_copy(update={"value": 0.4}) if f.id == "squat_not_coil" else f
        for f in RULES.findings
    )
    rules = RULES.model_copy(update={"findings": own})
    plan = make_plan(rules, [_film(coil(0.9, 0.05), ratio=0.1, half=0.1)])
    assert plan.focus.finding.id == "squat_not_coil"
    assert plan.focus.value == pytest.approx(0.1)


def test_results_of_earlier_engines_are_judged_by_the_ratio() -> None:
    plan = make_plan(RULES, [_film(None, ratio=0.05, half=0.05)])
    assert plan.focus.finding.id == "squat_not_coil"
    assert plan.focus.value == pytest.approx(0.05)


@pytest.mark.parametrize("language", LANGUAGES)
def test_card_and_plan_say_how_probable_it_is(language: str) -> None:
    words = catalogue(language)
    film = _film(coil(0.05, 0.9))
    plan = make_plan(RULES, [film])
    card = statements(film, words, plan)[0]
    assert card.tone == "work"
    assert "90" in card.details[0]
    assert "90" in plan_words(plan, words).focus_details[0]


def test_a_page_without_a_plan_calls_it_too() -> None:
    words = english()
    squat = statements(_film(coil(0.01, 0.98)), words)[0]
    assert squat.headline == words("coil.card_only_bent")
    assert squat.tone == "work"
    turned = statements(_film(coil(0.98, 0.01)), words)[0]
    assert (turned.headline, turned.tone) == (words("coil.card_turned_away"), "fine")
    unknown = statements(_film(coil(0.5, 0.4)), words)
    assert not any("turn away" in one.headline for one in unknown)
