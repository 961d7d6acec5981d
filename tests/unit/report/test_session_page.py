"""The report of a session filmed from several places, and its plot place by place."""

from __future__ import annotations

import re

import pytest

from models.contract.analysis import CAUTIONS
from models.contract.progress import SessionFromPlaces, SessionKind
from models.contract.session_values import SessionValues
from models.contract.thresholds import Threshold
from models.contract.vocabulary import EventName, View
from models.words import english
from tests.unit.report import documents
from tests.unit.report.outline import Outline
from workers.decide.session_values import session_values
from workers.report.places_part import place_names, place_plot, place_plots
from workers.report.progress_page import progress_page
from workers.report.session_page import session_page

KNEE = 0
"""Which of the values two places measure."""


def told(found: SessionValues, **more: object) -> str:
    page = session_page(found, [], **more)  # type: ignore[arg-type]
    return Outline(page).text.replace("\N{NO-BREAK SPACE}", " ")


def test_what_calls_for_work_leads_and_says_where_it_is_taken() -> None:
    text = told(documents.session_values(), player="Mira")
    assert "Player: Mira" in text
    assert "6 repetitions, from the side; from the front at an angle." in text
    heads = ["weight is not yet over the rear foot", "front knee bends as much as"]
    places = [text.lower().index(head) for head in heads]
    assert places == sorted(places)
    assert "Measured: 44 % (95 %: 36 % to 52 %). Taken from the side." in text
    assert "Taken from the side (70 %); from the front at an angle (30 %)." in text
    for caution in CAUTIONS:
        assert text.count(caution.text) == 1


def test_a_place_that_does_not_count_is_not_counted() -> None:
    found = documents.session_values()
    knee = found.values[KNEE]
    first, second = (
        one.model_copy(update={"weight": weight})
        for one, weight in zip(knee.places, (1.0, 0.0), strict=True)
    )
    assert "Mean of 6 repetitions." in told(found)
    alone = knee.model_copy(update={"places": (first, second)})
    text = told(found.model_copy(update={"values": (alone, *found.values[1:])}))
    assert "Mean of 6 repetitions." not in text
    assert text.count("Taken from the side.") == 2


def test_a_rule_of_the_coach_decides_what_is_said() -> None:
    rule = Threshold(
        finding="mine", metrics=("rear_foot_load_share",), event=EventName.LOADING,
        is_="<=", value=0.2, unit="1", source="my own",
    )  # fmt: skip
    text = told(documents.session_values(), thresholds=[rule]).lower()
    assert "weight is not yet over the rear foot" not in text


def test_places_that_disagree_are_named_and_nothing_is_built_on_them() -> None:
    text = told(documents.session_values(agree=False))
    assert "the places disagree" in text
    assert "They disagree on: front knee bend." in text
    assert "The places disagree: from the side 62°; from the front at an angle 31°." in text
    # The document's note says it too; the page says it once, beside the values.
    assert "more than their uncertainty explains on" not in text
    assert "the places disagree" not in told(documents.session_values()).lower()


def test_what_is_missing_says_why() -> None:
    text = told(documents.session_values())
    assert "Not measurable from this film" in text
    assert "Hitting elbow bend (contact)" in text
    assert "film from behind" in text


def test_one_place_and_none() -> None:
    one = told(documents.session_values(places=1))
    assert "3 repetitions, from the side." in one
    assert "Place by place" not in one
    assert "three from the front quarter" in one
    none = told(session_values([]))
    assert "No film of this session shows such a movement." in none
    assert "Film one player from head to feet" in none
    assert CAUTIONS[0].text in none


def test_two_places_of_one_view_are_not_called_alike() -> None:
    found = documents.session_values()
    first = found.places[0].model_copy(update={"azimuth_deg": 70.0})
    unknown = first.model_copy(update={"view": View.UNKNOWN, "azimuth_deg": None})
    names = place_names([first, found.places[1], found.places[0], unknown], english())
    assert names[0] == "from the side, place 1"
    assert names[2] == "from the side, place 3"
    assert names[1] == "from the front at an angle"
    assert names[3] == "from an unknown place"


def test_a_mark_lies_where_its_value_is() -> None:
    found = documents.session_values()
    names = place_names(found.places, english())
    svg = str(place_plot(found.values[KNEE], names, english()))
    scale = {
        float(text): float(x)
        for x, text in re.findall(
            r'<text x="([\d.]+)" y="[\d.]+"[^>]*middle[^>]*>(\d+)°</text>', svg
        )
    }
    low, *_, high = sorted(scale)
    slope = (scale[high] - scale[low]) / (high - low)
    marks = [float(x) + 3.5 for x in re.findall(r'<rect x="([\d.]+)"', svg)]
    expected = [scale[low] + slope * (value - low) for value in (62.0, 58.0, 60.8)]
    assert marks == pytest.approx(expected, abs=0.1)
    label = re.search(r'aria-label="([^"]+)"', svg)
    assert label is not None
    assert "from the side 62°; from the front at an angle 58°; together 61°" in label[1]


def test_only_what_several_places_count_for_is_drawn_and_what_is_apart_comes_first() -> None:
    found = documents.session_values()
    assert [one.title for one in place_plots(found, english())] == ["Front knee bend"]
    knee = found.values[KNEE]
    lone = tuple(
        one.model_copy(update={"weight": weight})
        for one, weight in zip(knee.places, (0.99, 0.01), strict=True)
    )
    alone = knee.model_copy(update={"places": lone})
    assert place_plots(found.model_copy(update={"values": (alone,)}), english()) == []
    apart = alone.model_copy(update={"agree": False, "event": EventName.CONTACT})
    shown = place_plots(found.model_copy(update={"values": (knee, apart)}), english())
    assert [one.event for one in shown] == ["Contact", "Trophy position"]


def test_progress_shows_its_sessions_place_by_place() -> None:
    course = documents.progress()
    one = SessionFromPlaces(
        session="ses_1", kind=SessionKind.BASELINE, at=course.metrics[0].series[0].at,
        values=documents.session_values(agree=False),
    )  # fmt: skip
    text = Outline(progress_page(course.model_copy(update={"sessions": (one,)}))).text
    assert "Place by place" in text
    assert "They disagree on: front knee bend." in text
    assert "Place by place" not in Outline(progress_page(course)).text
