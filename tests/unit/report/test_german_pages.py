"""Pages in German: whole, and with no English left over."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta

import pytest

from models.contract.analysis import MINOR_CAUTIONS, Analysis, Metric
from models.contract.clip import Usability
from models.contract.errors import FeetNotInFrame, FrameRateLow
from models.contract.metrics.catalogue import CATALOGUE
from models.contract.note import note
from models.contract.note_codes import NoteCode
from models.contract.problem import Problem
from models.contract.progress import SessionFromPlaces, SessionKind
from models.contract.vocabulary import Severity
from models.practice.rules import rules_of
from models.words import catalogue, english
from tests.unit.models.words.test_languages import templates
from tests.unit.report import documents
from tests.unit.report.browser import Browser, chromium
from tests.unit.report.outline import Outline
from tests.unit.report.test_in_browser import STICKING_OUT
from workers.decide.compare import Group, compare
from workers.decide.plan import make_plan
from workers.decide.progress import progress
from workers.decide.sessions import SessionAnalyses
from workers.engine.usability import checks
from workers.report.analysis_page import analysis_page
from workers.report.comparison_page import comparison_page
from workers.report.pictures import event_pictures
from workers.report.progress_page import progress_page
from workers.report.session_page import session_page

WORD = re.compile(r"[A-Za-zÄÖÜäöüß]{3,}")
GERMAN = catalogue("de")
NOT_ENGLISH = {"servewright", "front", "sports", "act", "living", "biomech", "med", "sci", "exerc",
               "open", "doi", "cardiff", "mira", "tolland", "fspor"}  # fmt: skip
"""Names and journals."""
FOCUS = "rear_hip_drop"
"""A name that the caller gave, said back as it is."""


def words_of(text: str) -> set[str]:
    return {word.lower() for word in WORD.findall(text)}


def told(language: str) -> set[str]:
    """Return every word that a language's catalogue can say."""
    entries = catalogue(language).entries
    found = {
        word
        for _, texts in templates(entries)
        for text in texts
        for word in words_of(re.sub(r"\{[^}]*\}", " ", text))
    }
    for one in entries.get("sentence", ()):
        found |= words_of(one["words"])
    return found


def english_left(page: str) -> set[str]:
    """Return the words of a page that only the English catalogue knows."""
    outline = Outline(page)
    said = [value for _, attrs in outline.tags for name, value in attrs.items()
            if name in ("alt", "aria-label", "title") and value]  # fmt: skip
    return words_of(" ".join([outline.text, *said]).replace(FOCUS, "")) & (
        told("en") - told("de") - NOT_ENGLISH
    )


def full(analysis: Analysis, track, shift: float = 0.0) -> Analysis:
    """Return an analysis with every metric, every third of them withheld."""
    reasons = (
        note(NoteCode.FEET_NOT_SEEN),
        note(NoteCode.VIEW_NOT_RELIABLE, view="behind", better="side"),
        note(NoteCode.FRAME_RATE_TOO_LOW, fps=30.0, needed=100.0),
    )
    metrics = []
    for place, (metric, taken) in enumerate(CATALOGUE.instants()):
        value = 0.4 + shift if metric.unit.value == "1" else 20.0 + 30 * shift
        withheld = place % 3 == 2
        metrics.append(
            Metric(
                key=metric.key, title=metric.term, event=taken.event,
                value=None if withheld else value, low=None if withheld else 0.98 * value,
                high=None if withheld else 1.02 * value, unit=metric.unit.value,
                measurable=not withheld, reason=reasons[place // 3 % 3] if withheld else None,
                method="fit_and_lift", reference=taken.reference,
            )
        )  # fmt: skip
    one = analysis.repetitions[0].model_copy(update={"metrics": tuple(metrics)})
    found = checks(track, [], analysis.view)
    failed = tuple(check.model_copy(update={"passed": False}) for check in found)
    problems = (
        Problem.of(FeetNotInFrame(), severity=Severity.WARNING),
        Problem.of(FrameRateLow(), severity=Severity.NOTE),
    )
    return analysis.model_copy(
        update={
            "repetitions": (one, one),
            "usability": Usability(usable=False, checks=failed),
            "problems": problems,
            "cautions": (*analysis.cautions, *MINOR_CAUTIONS),
        }
    )


@pytest.fixture(scope="module")
def pages(right_side) -> dict[str, str]:
    """An analysis with its plan, a comparison, a progress and a session, with their notes."""
    case = right_side
    before, after = (full(case.analysis, case.track, shift) for shift in (0.0, 0.2))
    plan = make_plan(rules_of(None), [before])
    compared = compare(
        Group("vorher", (("a", before),)),
        Group("nachher", (("b", after),)),
        same_player=True,
        focus=("front_knee_flexion", FOCUS),
    )
    start = datetime(2026, 5, 6, 10, tzinfo=UTC)
    sessions = [
        SessionAnalyses("1", SessionKind.BASELINE, start, (before,)),
        SessionAnalyses("2", SessionKind.ACQUISITION, start + timedelta(days=7), (after,)),
        SessionAnalyses("3", SessionKind.RETENTION, start + timedelta(days=9), (after,)),
    ]
    followed = progress("Mira", sessions, now=start + timedelta(days=10))
    from_places = SessionFromPlaces(
        session="1", kind=SessionKind.BASELINE, at=start,
        values=documents.session_values(agree=False),
    )  # fmt: skip
    pictures = event_pictures(
        case.frames, before, case.track, [case.body], [case.centre_of_mass], words=GERMAN
    )
    return {
        "analysis": analysis_page(before, pictures, plan=plan, player="Mira", words=GERMAN),
        "comparison": comparison_page(compared, {}, words=GERMAN),
        "progress": progress_page(
            followed.model_copy(update={"sessions": (from_places,)}), words=GERMAN
        ),
        "session": session_page(documents.session_values(agree=False), [], words=GERMAN),
    }


@pytest.mark.parametrize("name", ["analysis", "comparison", "progress", "session"])
def test_no_english_is_left_over(pages, name):
    assert '<html lang="de"' in pages[name]
    assert english_left(pages[name]) == set()


def test_the_check_finds_english(right_side):
    """The list of English words is no empty one: an English page is full of them."""
    page = analysis_page(full(right_side.analysis, right_side.track), {}, words=english())
    assert len(english_left(page)) > 150


@pytest.mark.skipif(chromium() is None, reason="needs Chromium")
def test_long_german_words_stay_inside_a_narrow_page(pages, tmp_path):
    with Browser() as browser:
        for name, text in pages.items():
            (tmp_path / f"{name}.html").write_text(text, "utf-8")
            browser.open(tmp_path / f"{name}.html", 360)
            assert browser.evaluate("document.documentElement.scrollWidth") <= 360, name
            assert browser.evaluate(STICKING_OUT) == [], name


def test_numbers_are_written_the_german_way(pages):
    text = Outline(pages["analysis"]).text
    assert "0,40" in text
    assert not re.search(r"\d\.\d\d? (s|m|m/s)\b", text)
    assert "6. Mai" in Outline(pages["progress"]).text or "6. Mai" in pages["progress"]
