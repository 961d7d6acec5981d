"""The comparison report: what changed leads, noise is called noise, gaps give their reason."""

from __future__ import annotations

import re

import pytest

from models.contract.analysis import CAUTIONS
from models.contract.comparison import Verdict
from models.contract.note import written
from models.contract.vocabulary import Role
from tests.unit.report import documents
from tests.unit.report.outline import Outline
from workers.report.comparison_page import changed_first, comparison_page
from workers.report.findings import one_a_movement


def _text(page: str) -> str:
    return Outline(page).text.replace("\N{NO-BREAK SPACE}", " ")


@pytest.fixture(scope="module")
def page():
    return comparison_page(documents.comparison(), {})


def test_changes_lead_largest_first_in_units_of_their_noise(page):
    # Differences over noise: trunk 9/4 = 2.25, load 0.20/0.09 = 2.22, pelvis 12/7 = 1.71.
    keys = [row.key for row in changed_first(documents.comparison())]
    assert keys == ["trunk_inclination", "rear_foot_load_share", "pelvis_turn"]
    text = _text(page)
    heads = [
        "Trunk away from upright (trophy position): less than before",
        "Weight over the rear foot (loading): more than before",
        "Hips turned away from the net (loading): more than before",
    ]
    places = [text.index(head) for head in heads]
    assert places == sorted(places)
    assert "Three things to know" in text


def test_what_was_worked_on_leads_changed_or_not():
    document = documents.comparison()
    focus = ("pelvis_turn", "front_knee_flexion")
    rows = tuple(row.model_copy(update={"focus": row.key in focus}) for row in document.differences)
    document = document.model_copy(update={"differences": rows, "focus": focus})
    assert changed_first(document)[0].key == "pelvis_turn"
    text = _text(comparison_page(document, {}))
    heads = ["Hips turned away from the net", "you worked on it, and no change is seen yet"]
    heads.append("Trunk away from upright (trophy position): less than before")
    places = [text.index(head) for head in heads]
    assert places == sorted(places)


def test_within_noise_says_what_could_not_have_been_seen():
    document = documents.comparison()
    rows = tuple(
        row.model_copy(update={"focus": row.key == "front_knee_flexion", "detectable": 17.4})
        for row in document.differences
    )
    text = _text(comparison_page(document.model_copy(update={"differences": rows}), {}))
    assert "Films like these show a true change of 17° or more nine times in ten" in text
    assert "no change seen; a true change under 17° may go unseen" in text
    assert "changed; a true change" not in text


def test_beside_a_model_differences_are_told_from_the_player_and_are_no_goal():
    document = documents.comparison()

    def beside(side: str) -> str:
        shown = getattr(document, side).model_copy(update={"role": Role.MODEL})
        return _text(comparison_page(document.model_copy(update={side: shown}), {}))

    # Second minus first: the trunk leans less in the second.
    assert "Trunk away from upright (trophy position): less than the model" in beside("first")
    page = beside("second")
    assert "Trunk away from upright (trophy position): more than the model" in page
    assert "surely differs" in page
    assert "Do not copy a position that strains or hurts you" in page
    for word in ("than before", "surely changed", "Film a check"):
        assert word not in page


def test_one_movement_is_not_two_findings():
    rows = documents.comparison().differences
    again = rows[0].model_copy(update={"event": None})
    largest = rows[0].model_copy(update={"key": f"{rows[0].key}_peak"})
    assert one_a_movement([rows[0], again, largest, rows[1]]) == [rows[0], rows[1]]


def test_a_difference_of_percentages_is_in_points_with_its_interval_and_noise(page):
    text = _text(page)
    assert "43 % and then 63 %: a difference of +20 points (95 %: +13 points to +27 points)" in text
    assert "9 points or more is surely a change." in text


def test_what_is_not_comparable_says_why(page):
    assert "cannot be told: the second film does not show it" in _text(page)


def test_no_change_is_said_plainly():
    text = _text(comparison_page(documents.comparison(changed=False), {}))
    assert "No number has surely changed" in text
    assert "more than before" not in text


def test_nothing_comparable_says_what_to_film():
    document = documents.comparison()
    rows = tuple(
        row.model_copy(
            update={"verdict": Verdict.CANNOT_TELL, "difference": None, "low": None,
                    "high": None, "reason": written("views differ")}
        )
        for row in document.differences
    )  # fmt: skip
    text = _text(comparison_page(document.model_copy(update={"differences": rows}), {}))
    assert "The two films cannot be compared" in text
    assert "same place" in text


def test_a_mirrored_side_and_linked_changes_are_told():
    text = _text(comparison_page(documents.comparison(mirrored=True), {}))
    assert "shown mirrored" in text
    assert "Legs and weight: Weight over the rear foot, Hips turned away from the net." in text
    assert "mean rank correlation 0.6" in text


def test_every_row_with_a_difference_has_its_plot_and_text_for_it(page):
    outline = Outline(page)
    labels = [svg["aria-label"].replace("\N{NO-BREAK SPACE}", " ") for svg in outline.all("svg")]
    assert len(labels) == 5 + 3  # every comparable row, and the three that lead
    said = "Difference −9°, 95 % interval −12° to −6°; surely a change from 4° either way."
    assert f"{said} surely changed." in labels


def test_the_plot_shows_the_noise_band_to_scale():
    from workers.report.plot import difference

    svg = str(difference("text", value=9.0, low=6.0, high=12.0, noise=4.0))
    band = re.search(r'<rect x="([\d.]+)" y="4" width="([\d.]+)"', svg)
    mark = re.search(r'<rect x="([\d.]+)" y="8" width="7"', svg)
    left, width = float(band[1]), float(band[2])
    middle = left + width / 2
    # 4 units of noise are half the band, so 9 units lie 9/4 half-bands from the middle.
    assert float(mark[1]) + 3.5 - middle == pytest.approx(9 / 4 * width / 2, abs=0.02)


def test_cautions_are_there_once_each(page):
    text = Outline(page).text
    for caution in CAUTIONS:
        assert text.count(caution.text) == 1


def test_labels_cannot_inject_markup():
    document = documents.comparison()
    side = document.first.model_copy(update={"label": "<b>before</b>"})
    page = comparison_page(document.model_copy(update={"first": side}), {})
    assert "<b>before" not in page
