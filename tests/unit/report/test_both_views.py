"""One serve in two films: the same instants beside each other, and both in the report."""

from __future__ import annotations

import io
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from models.contract.views import SecondView
from models.contract.vocabulary import EventName, Handedness
from models.words import Words, catalogue
from tests.unit.report.conftest import Case, load
from workers.engine.views.fused import rows_of
from workers.report.analysis_page import analysis_page
from workers.report.both_views import both_sides, frames_of, views_pictures
from workers.report.matching import Side
from workers.report.pair_film import shared_events
from workers.report.views_part import LARGEST_FILM

OFFSET_S = 0.25
VIEW = SecondView(
    offset_s=OFFSET_S,
    offset_low=0.246,
    offset_high=0.254,
    apart_deg=75.0,
    apart_low=68.0,
    apart_high=82.0,
    synchronised_by="movement",
)


@pytest.fixture(scope="module")
def case() -> Case:
    return load("right_side")


def sides(case: Case, words: Words) -> tuple[Side, Side]:
    """The film of the case, and the same film whose clock shows a quarter of a second more."""
    later = replace(case.track, time_s=case.track.time_s + OFFSET_S)
    repetition = case.analysis.repetitions[0]
    one, two = both_sides(
        repetition, (case.track, later), VIEW, case.analysis.handedness, words, body=case.body
    )
    return replace(one, frames=case.frames), replace(two, frames=case.frames)


def test_both_films_show_the_same_instants(case: Case) -> None:
    one, two = sides(case, catalogue("en"))
    assert frames_of(one) == frames_of(two)
    events, first_s, second_s = shared_events(one, two)
    assert len(events) >= 4
    assert second_s - first_s == pytest.approx(OFFSET_S)


def test_an_instant_beyond_the_second_film_is_left_out(case: Case) -> None:
    repetition = case.analysis.repetitions[0]
    contact = repetition.events[EventName.CONTACT].time_s
    short = rows_of(case.track, 0, int(np.searchsorted(case.track.time_s, contact - 0.05)))
    at_once = VIEW.model_copy(update={"offset_s": 0.0})
    words = catalogue("en")
    one, two = both_sides(repetition, (case.track, short), at_once, one_hand(case), words)
    assert "contact" in one.repetition.events
    assert "contact" not in two.repetition.events


def one_hand(case: Case) -> Handedness:
    return case.analysis.handedness


@pytest.mark.parametrize(
    ("language", "apart", "said"),
    [
        ("en", 75.0, "second film, 75° further to the right"),
        ("en", -75.0, "second film, 75° further to the left"),
        ("de", 75.0, "zweiter Film, 75° weiter rechts"),
    ],
)
def test_the_second_film_is_named_by_its_place(
    case: Case, language: str, apart: float, said: str
) -> None:
    """Who looks further to the left stands further to the right (plane geometry)."""
    view = VIEW.model_copy(update={"apart_deg": apart})
    repetition = case.analysis.repetitions[0]
    tracks = case.track, case.track
    _, two = both_sides(repetition, tracks, view, one_hand(case), catalogue(language))
    assert two.label == said


def test_pictures_and_film_are_in_the_report(case: Case) -> None:
    words = catalogue("en")
    one, two = sides(case, words)
    pictures = views_pictures(one, two, 1, words)
    assert {"views-serve-1-loading.jpg", "views-serve-1-contact.jpg"} <= set(pictures)
    for data in pictures.values():
        with Image.open(io.BytesIO(data)) as image:
            assert image.format == "JPEG"
            assert image.width > 1000  # both halves
    seen = case.analysis.model_copy(update={"second_view": VIEW})
    page = analysis_page(seen, pictures, film=b"\x00" * 100, words=words)
    assert 'id="views"' in page
    assert page.count("the same instant in both films") == len(pictures)
    assert "data:video/mp4;base64,AAAA" in page
    assert "75° (±7°) further to the right" in page
    alone = analysis_page(case.analysis, pictures, film=b"\x00" * 100, words=words)
    assert 'id="views"' not in alone
    assert "<video" not in alone
    large = analysis_page(seen, pictures, film=b"\x00" * (LARGEST_FILM + 1), words=words)
    assert "<video" not in large
