"""Judgements of turning away beside true ones, by hand."""

from __future__ import annotations

import pytest

from models.contract.coil import CoilJudgement, CoilVerdict
from models.contract.vocabulary import View
from models.training.coil_films import Judged, page


def said(verdict: CoilVerdict) -> CoilJudgement:
    place = View.FRONT_QUARTER if verdict is CoilVerdict.UNDECIDED else None
    return CoilJudgement(
        verdict=verdict, turned_away=None, only_bent=None, not_loaded=None, film_from=place
    )


@pytest.mark.parametrize(
    ("turn", "bend", "true"),
    [
        (7.0, 40.0, CoilVerdict.TURNED_AWAY),  # 0.15 x 40 = 6
        (5.0, 40.0, CoilVerdict.ONLY_BENT),
        (30.0, 9.0, CoilVerdict.NOT_LOADED),
    ],
)
def test_truth_follows_the_rules_of_the_judgement(
    turn: float, bend: float, true: CoilVerdict
) -> None:
    assert Judged("side", "template", turn, bend, None).true is true


def test_right_wrong_and_undecided_are_counted() -> None:
    verdicts = (CoilVerdict.TURNED_AWAY, CoilVerdict.ONLY_BENT, CoilVerdict.UNDECIDED)
    found = [Judged("side", "template", 30.0, 40.0, said(verdict)) for verdict in verdicts]
    found.append(Judged("side", "template", 8.0, 40.0, None))
    text = page(found, "Drawn by hand.")
    assert "| all | 4 | 25% | 25% | 50% | 1 | 1 of 1 | 25% |" in text
    assert "| turned_away | undecided | 2 |" in text
