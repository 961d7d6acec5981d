"""The page that says how large a change must be to be seen."""

from __future__ import annotations

from collections.abc import Sequence

from models.contract.comparison import MetricDifference
from models.contract.vocabulary import View
from models.training.rendered.detectable_page import gather, page
from tests.unit.decide.builders import analysis, metric, repetition
from workers.decide.compare import Group, compare


def _rows(player: int, name: str) -> tuple[View, Sequence[MetricDifference]]:
    """Three players from the side, two from behind, with wider intervals from one to the next."""
    key, _, event = name.partition("@")
    if key != "elbow_flexion":
        return View.SIDE, ()
    one = metric(key, 40.0, half=1.96 * (1 + player % 3), event=event)
    side = Group("a", (("a", analysis(repetition(one))),))
    view = View.SIDE if player < 3 else View.BEHIND
    return view, compare(side, side, focus=[name]).differences


def test_the_median_stands_under_its_view_and_few_players_say_nothing() -> None:
    text = page(gather(_rows, 5), players=5, serves=4, path="infra/changes.md")
    line = next(line for line in text.splitlines() if "contact" in line and "lbow" in line)
    # (1.960 + 1.282) * 2 * sqrt 2 = 9.2 degrees for the middle one of the three from the side
    assert line.replace("\N{NARROW NO-BREAK SPACE}", " ").endswith("| 9° | – | – |")
    assert "Median over 5 rendered players" in text
    assert "--page infra/changes.md" in text
    assert text.count("\n| ") == 2 + 3  # head, rule, and the elbow at its three events
