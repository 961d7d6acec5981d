"""The progress report and its plot."""

from __future__ import annotations

import re
from itertools import pairwise

import pytest

from models.contract.analysis import CAUTIONS
from models.contract.progress import SessionKind
from models.words import english
from tests.unit.report import documents
from tests.unit.report.outline import Outline
from workers.report.plot import ticks
from workers.report.progress_page import progress_page
from workers.report.timeline import spread, timeline


@pytest.fixture(scope="module")
def text():
    return Outline(progress_page(documents.progress())).text.replace("\N{NO-BREAK SPACE}", " ")


def test_what_slipped_comes_before_what_stayed(text):
    heads = [
        "Weight over the rear foot (loading): part of the change has stayed",
        "Front knee bend (trophy position): the change has stayed",
        "Set-up to contact (the whole movement): no change seen in practice yet",
    ]
    places = [text.index(head) for head in heads]
    assert places == sorted(places)


def test_scores_carry_intervals_and_the_delay(text):
    assert "Kept after 7 days: 75 % of the change (95 %: 55 % to 96 %)." in text
    assert "Change in practice: +20 points (surely a change from 8 points)." in text
    assert "45 % (20 % to 70 %)" in text  # transfer, in the table


def test_when_to_film_next_and_why(text):
    assert "Retention check, between 20 May 2026, 17:00 and 27 May 2026, 17:00." in text
    assert "A week without coaching shows what is left." in text
    done = documents.progress().model_copy(update={"next_check": None})
    assert "No further check is due now." in Outline(progress_page(done)).text


def test_repetitions_and_cautions(text):
    assert "15 static holds" in text
    assert "24 shadow swings" in text
    for caution in CAUTIONS:
        assert text.count(caution.text) == 1


def test_a_point_of_the_plot_lies_where_its_value_is():
    metric = documents.progress().metrics[1]
    svg = str(timeline(metric, english()))
    grid = {
        text: float(y)
        for y, text in re.findall(r'<text x="[\d.]+" y="([\d.]+)"[^>]*>(\d+)°</text>', svg)
    }
    # The scale from two labels (text sits 5 below its line), then the 66 deg of the practice.
    slope = (grid["70"] - grid["50"]) / 20
    expected = grid["50"] - 5 + slope * (66 - 50)
    circle = re.search(r'<circle cx="[\d.]+" cy="([\d.]+)"', svg)
    assert float(circle[1]) == pytest.approx(expected, abs=0.1)


def test_each_kind_of_session_has_its_own_shape_and_the_text_tells_all():
    metric = documents.progress().metrics[0]
    svg = str(timeline(metric, english()))
    assert svg.count('kind="shape"') == 0
    shapes = re.findall(r"<(rect|circle|polygon)[^>]*class=\"shape\"", svg)
    assert shapes == ["rect", "circle", "polygon", "polygon"]
    label = re.search(r'aria-label="([^"]+)"', svg)[1].replace("\N{NO-BREAK SPACE}", " ")
    assert "baseline (before) on 6 May: 43 %" in label
    assert label.endswith("partly held.")
    assert len({SessionKind(k) for k in SessionKind}) == 4


def test_an_empty_series_is_refused():
    empty = documents.progress().metrics[0].model_copy(update={"series": ()})
    with pytest.raises(ValueError, match="no session"):
        timeline(empty, english())


def test_sessions_of_one_day_stand_side_by_side_and_time_keeps_its_proportion():
    places = spread([0.0, 0.05, 7.0, 12.0], 300.0, 26.0)
    assert places[0] == 0
    assert places[-1] == pytest.approx(300.0)
    assert min(b - a for a, b in pairwise(places)) >= 26
    even = spread([0.0, 10.0, 30.0], 300.0, 0.0)
    assert even == pytest.approx([0, 100, 300])
    assert spread([3.0], 300.0, 26.0) == [150.0]


@pytest.mark.parametrize(
    ("low", "high", "expected"),
    [(0, 100, [0, 25, 50, 75, 100]), (0.43, 0.67, [0.5, 0.6]), (-3, 3, [-2, 0, 2])],
)
def test_ticks_are_round_and_inside(low, high, expected):
    assert ticks(low, high, 5) == pytest.approx(expected)
