"""The pages in a real browser: quiet, whole, and readable on a phone, light and dark."""

from __future__ import annotations

import io
import re
import wave
from pathlib import Path

import numpy as np
import pytest

from models.contract.analysis import MINOR_CAUTIONS
from models.contract.vocabulary import EventName
from models.words import catalogue
from tests.unit.report import documents
from tests.unit.report.browser import Browser, chromium
from workers.report.analysis_page import analysis_page
from workers.report.branded import Brand
from workers.report.comparison_page import comparison_page
from workers.report.from_coach import FromCoach, SpokenMessage
from workers.report.matching import Side
from workers.report.pictures import event_pictures
from workers.report.progress_page import progress_page
from workers.report.session_page import PlacePicture, session_page
from workers.report.side_by_side import matched_pictures
from workers.report.trajectory import trajectory_plot

CLUB = Brand("Greenfield Tennis Club", "#1d6b3c")


def spoken(seconds: float = 0.5) -> bytes:
    """Return a WAVE file with a tone."""
    rate = 8000
    tone = np.sin(2 * np.pi * 440 * np.arange(round(seconds * rate)) / rate)
    file = io.BytesIO()
    with wave.open(file, "wb") as sound:
        sound.setnchannels(1)
        sound.setsampwidth(2)
        sound.setframerate(rate)
        sound.writeframes((8000 * tone).astype("<i2").tobytes())
    return file.getvalue()


pytestmark = pytest.mark.skipif(
    chromium() is None, reason="needs Chromium (Debian: apt-get install chromium)"
)

LOWEST_CONTRAST = """
(() => {
  const rgb = t => t.match(/[\\d.]+/g).map(Number);
  const lin = c => (c /= 255) <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4;
  const lum = c => 0.2126 * lin(c[0]) + 0.7152 * lin(c[1]) + 0.0722 * lin(c[2]);
  const ground = e => {
    for (; e; e = e.parentElement) {
      const c = rgb(getComputedStyle(e).backgroundColor);
      if (c.length < 4 || c[3] > 0) return c;
    }
    return [255, 255, 255];
  };
  let worst = [99, ''];
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const text = walk.currentNode.textContent.trim(), e = walk.currentNode.parentElement;
    if (!text || !e.getClientRects().length) continue;
    const style = getComputedStyle(e), svg = e instanceof SVGElement;
    const a = lum(rgb(svg ? style.fill : style.color)), b = lum(ground(e));
    const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
    if (ratio < worst[0]) worst = [ratio, text];
  }
  return worst;
})()
"""

STICKING_OUT = """
[...document.querySelectorAll('main *, header *')].filter(e => {
  const box = e.getBoundingClientRect();
  return box.width && (box.right > innerWidth + 1 || box.left < -1) && !e.closest('thead');
}).map(e => e.outerHTML.slice(0, 120))
"""

SMALLEST_TEXT = """
(() => {
  let least = 99;
  for (const e of document.querySelectorAll('main *')) {
    const own = [...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim());
    if (!own || !e.getClientRects().length) continue;
    let size = parseFloat(getComputedStyle(e).fontSize);
    const svg = e.closest('svg');
    if (svg) size *= svg.getBoundingClientRect().width / svg.viewBox.baseVal.width;
    least = Math.min(least, size);
  }
  return least;
})()
"""


@pytest.fixture(scope="module")
def browser():
    with Browser() as running:
        yield running


@pytest.fixture(scope="module")
def pages(tmp_path_factory, right_side) -> dict[str, Path]:
    case = right_side
    folder = tmp_path_factory.mktemp("pages")
    pictures = event_pictures(
        case.frames, case.analysis, case.track, [case.body], [case.centre_of_mass]
    )
    side = Side(
        "Before, 6 May", case.analysis.repetitions[0], case.track, case.analysis.handedness,
        case.frames, case.body, case.centre_of_mass,
    )  # fmt: skip
    events = [(EventName.TROPHY, 102), (EventName.CONTACT, 130)]
    paths = case.body.joints / case.body.stature_m
    path = trajectory_plot(
        paths, paths + 0.03, first_label="Before, 6 May", second_label="After", events=events
    )
    minors = documents.plan()
    cautions = (*minors.cautions, *MINOR_CAUTIONS)
    minors = minors.model_copy(update={"cautions": cautions})
    made = {
        "analysis": analysis_page(
            case.analysis, pictures, plan=documents.plan(), player="Mira Tolland"
        ),
        "comparison": comparison_page(
            documents.comparison(), matched_pictures(side, side), path=path,
            path_events=events,
        ),
        "progress": progress_page(documents.progress()),
        "session": session_page(
            documents.session_values(agree=False),
            [
                PlacePicture(1, EventName.LOADING, pictures["serve-1-loading-plain.jpg"]),
                PlacePicture(2, EventName.LOADING, pictures["serve-1-loading-plain.jpg"]),
            ],
            player="Mira Tolland",
        ),
        "minor": analysis_page(
            case.analysis, pictures, plan=minors, player="Mira Tolland", words=catalogue("de"),
            coach=FromCoach(
                "Gut gemacht! Achte beim nächsten Mal auf den Stand, und lass dir Zeit."
            ),
        ),
        "club": analysis_page(
            case.analysis, pictures, plan=documents.plan(), player="Mira Tolland",
            coach=FromCoach("Feet first.", SpokenMessage("audio/wav", spoken()), CLUB),
        ),
    }  # fmt: skip
    for name, text in made.items():
        (folder / f"{name}.html").write_text(text, "utf-8")
    return {name: folder / f"{name}.html" for name in made}


PAGES = ("analysis", "comparison", "progress", "session", "minor", "club")
"""`club`: with a voice, in the look of a club; `minor`: a plan in German with every caution, the
longest there is."""


@pytest.mark.parametrize("name", PAGES)
@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("width", [360, 1280])
def test_a_page_is_quiet_whole_and_readable(browser, pages, name, width, dark):
    browser.open(pages[name], width, dark=dark)
    browser.evaluate("document.querySelectorAll('details').forEach(d => { d.open = true; })")
    assert browser.complaints() == []
    outside = [u for u in browser.requests() if not u.startswith(("file:", "data:"))]
    assert outside == []
    assert len([u for u in browser.requests() if u.startswith("file:")]) == 1
    assert browser.evaluate("document.documentElement.scrollWidth") <= width
    assert browser.evaluate(STICKING_OUT) == []
    ratio, text = browser.evaluate(LOWEST_CONTRAST)
    assert ratio >= 4.5, text
    assert browser.evaluate(SMALLEST_TEXT) >= 11
    # Every picture has really been decoded.
    assert browser.evaluate("[...document.images].every(i => i.complete && i.naturalWidth > 0)")


@pytest.mark.parametrize("name", PAGES)
def test_the_scheme_follows_the_reader(browser, pages, name):
    browser.open(pages[name], 360)
    light = browser.evaluate("getComputedStyle(document.body).backgroundColor")
    browser.open(pages[name], 360, dark=True)
    assert browser.evaluate("getComputedStyle(document.body).backgroundColor") != light


@pytest.mark.parametrize("name", PAGES)
def test_a_page_prints_to_one_sheet(browser, pages, name):
    browser.open(pages[name], 1280, dark=True)
    data = browser.pdf()
    assert data.startswith(b"%PDF-")
    assert data.count(b"/Type /Page\n") == 1


SCREEN = 640
"""Height of a phone's screen, CSS pixels, at a width of 360."""


@pytest.mark.parametrize(
    ("name", "screens"),
    [("analysis", 8), ("comparison", 6), ("progress", 6), ("session", 5), ("minor", 8)],
)
def test_a_page_is_read_in_a_few_screens_of_a_phone(browser, pages, name, screens):
    browser.open(pages[name], 360, height=SCREEN)
    height = browser.evaluate("document.documentElement.scrollHeight")
    assert height <= screens * SCREEN


@pytest.mark.parametrize("name", PAGES)
def test_the_first_screen_holds_the_sentence_the_pictures_and_what_to_do(browser, pages, name):
    browser.open(pages[name], 360, height=SCREEN)
    bottom = "document.querySelector('.next').getBoundingClientRect().bottom"
    assert browser.evaluate(bottom) <= SCREEN


def test_the_table_keeps_its_meaning_when_it_is_shown_as_a_list(browser, pages):
    browser.open(pages["analysis"], 360)
    browser.evaluate("document.querySelectorAll('details').forEach(d => { d.open = true; })")
    assert browser.evaluate("getComputedStyle(document.querySelector('tr')).display") == "block"
    tree = browser.call("Accessibility.getFullAXTree")["nodes"]
    roles = {node.get("role", {}).get("value") for node in tree}
    assert {"table", "row", "rowheader", "cell"} <= roles


def test_a_contrast_too_low_would_be_noticed(browser, tmp_path):
    page = tmp_path / "pale.html"
    page.write_text("<body style='background:#fff'><p style='color:#999'>pale</p>")
    browser.open(page, 360)
    ratio, text = browser.evaluate(LOWEST_CONTRAST)
    # #999999 on white is 2.85 (WCAG formula).
    assert ratio == pytest.approx(2.85, abs=0.01)
    assert text == "pale"


def test_the_voice_of_the_coach_is_played_by_the_page(pages, browser):
    browser.open(pages["club"], 360)
    browser.evaluate("document.querySelector('.message audio').load()")
    assert browser.until("document.querySelector('.message audio').readyState > 0")
    length = browser.evaluate("document.querySelector('.message audio').duration")
    assert length == pytest.approx(0.5, abs=0.01)


def test_links_and_marks_have_the_colour_of_the_club(browser, pages):
    shown = "getComputedStyle(document.querySelector('summary')).color"
    browser.open(pages["club"], 360)
    assert browser.evaluate(shown) == "rgb(29, 107, 60)"
    browser.open(pages["club"], 360, dark=True)
    red, green, blue = (int(c) for c in re.findall(r"\d+", browser.evaluate(shown)))
    assert green > 107  # lighter
    assert green > max(red, blue)  # and still green
