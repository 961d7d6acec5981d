"""Every language says the same: same entries, same parameters, and words for every code."""

from __future__ import annotations

import inspect
import string
from collections.abc import Iterator, Mapping
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
import yaml

from models.contract.errors import ServewrightError, all_errors
from models.contract.metrics.catalogue import CATALOGUE
from models.contract.note import Note, note, written
from models.contract.note_codes import NoteCode
from models.contract.retention import SCHEDULE
from models.contract.vocabulary import EventName, Handedness, Language, RepetitionKind, View
from models.words import LANGUAGES, Words, catalogue, english, negotiate
from workers.engine.metrics.registry import REGISTRY

PROJECT = Path(__file__).resolve().parents[4]
PLURALS = {"zero", "one", "two", "few", "many", "other"}
OTHERS = [language for language in LANGUAGES if language != "en"]


def templates(node: Mapping[str, Any], path: str = "") -> Iterator[tuple[str, list[str]]]:
    """Yield each entry's dotted name and its templates (several where it has plurals)."""
    for key, value in node.items():
        name = f"{path}{key}"
        if isinstance(value, Mapping) and "other" in value and set(value) <= PLURALS:
            yield name, list(value.values())
        elif isinstance(value, Mapping):
            yield from templates(value, f"{name}.")
        elif isinstance(value, str):
            yield name, [value]


def parameters(words: list[str]) -> set[str]:
    """Return the names of the parameters of an entry."""
    return {
        name
        for template in words
        for _, name, _, _ in string.Formatter().parse(template)
        if name is not None
    }


def said(words: Words) -> dict[str, set[str]]:
    return {name: parameters(found) for name, found in templates(words.entries)}


def test_the_folders_are_the_languages_of_the_contract():
    folders = {f.name for f in files("models.words").iterdir() if (f / "pages.toml").is_file()}
    assert folders == set(LANGUAGES) == {language.value for language in Language}
    assert all(catalogue(language).language == language for language in LANGUAGES)
    with pytest.raises(KeyError, match="no catalogue of 'xx'"):
        catalogue("xx")


@pytest.mark.parametrize("language", OTHERS)
def test_entries_and_parameters_are_those_of_the_english(language):
    assert said(catalogue(language)) == said(english())


@pytest.mark.parametrize("language", LANGUAGES)
def test_no_entry_is_empty(language):
    for name, found in templates(catalogue(language).entries):
        assert all(text.strip() for text in found), name


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_code_has_words_and_no_words_lack_a_code(language):
    words = catalogue(language)
    errors = {cls.code for cls in (ServewrightError, *all_errors())}
    codes = {code.value for code in NoteCode}
    assert not errors & codes
    assert set(words.find("note")) == errors | codes
    assert set(words.find("title")) == errors


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_metric_has_a_title(language):
    words = catalogue(language)
    assert set(words.find("metric")) == set(CATALOGUE.keys)
    for metric in CATALOGUE:
        entry = words.find(f"metric.{metric.key}")
        wording = metric.wording[language]
        assert (entry["title"], entry["term"]) == (wording.title, wording.term)
        assert entry.get("about", "") == wording.about
        assert entry.get("percent", False) == metric.percent


@pytest.mark.parametrize("language", LANGUAGES)
def test_tables_hold_every_member_of_their_vocabulary(language):
    words = catalogue(language)
    for table in ("view", "from_view", "filmed_view"):
        assert set(words.find(table)) == {view.value for view in View}
    assert set(words.find("instant")) == {event.value for event in EventName}
    assert set(words.find("kind")) == {kind.value for kind in RepetitionKind}
    assert set(words.find("hand")) == {hand.value for hand in Handedness}
    assert set(words.find("delay")) == {delay for _, _, delay in SCHEDULE}


@pytest.mark.parametrize("cls", [ServewrightError, *all_errors()], ids=lambda cls: cls.code)
def test_the_english_of_an_error_is_its_docstring(cls):
    assert cls.advice() == " ".join(inspect.cleandoc(cls.__doc__).split())
    assert english()(f"title.{cls.code}") == cls.title


@pytest.mark.parametrize("language", OTHERS)
def test_shipped_rules_and_published_values_have_words(language):
    text = (files("models.practice") / "shipped.yaml").read_text("utf-8")
    rules = yaml.safe_load(text)
    shipped = set(rules["cautions"])
    for finding in rules["findings"]:
        name = finding["id"].replace("_", " ").capitalize()
        shipped |= {name, finding["text"], finding["source"]}
    for drill in rules["drills"]:
        shipped |= {drill["title"], drill["cue"], drill["film"]["show"]}
    shipped |= {spec.taken.reference for spec in REGISTRY if spec.taken.reference}
    assert {one["of"] for one in catalogue(language).find("sentence")} == shipped


def test_a_note_carries_its_english_and_is_said_in_another_language():
    reason = note(NoteCode.VIEW_NOT_RELIABLE, view="behind", better="side")
    assert reason.text == "Not reliable from behind; film from the side, facing the chest."
    german = catalogue("de").note(reason)
    assert german == "Nicht verlässlich von hinten; filme von der Seite, zur Brust hin."


def test_notes_within_notes_are_said_too():
    inner = note(NoteCode.FRAME_RATE_TOO_LOW, fps=29.97, needed=60.0)
    outer = note(NoteCode.SECOND_NOT_MEASURABLE, reason=inner)
    assert outer.text.startswith("Second side: 30 frames per second do not resolve")
    again = Note.model_validate_json(outer.model_dump_json())
    assert again == outer
    german = catalogue("de").note(again)
    assert german.startswith("Zweite Seite: 30 Bilder je Sekunde lösen")


def test_a_bare_sentence_of_an_earlier_version_is_read():
    earlier = Note.model_validate("Seen end-on; film from the side.")
    assert earlier == written("Seen end-on; film from the side.")
    assert catalogue("de").note(earlier) == earlier.text


def test_a_bare_sentence_that_names_nothing_gets_its_code_back():
    caution = note(NoteCode.LOCAL_RULES_FIRST)
    assert Note.model_validate(caution.text) == caution


def test_a_note_without_its_parameter_is_refused():
    with pytest.raises(ValueError, match="needs 'better'"):
        note(NoteCode.VIEW_NOT_RELIABLE, view="side")
    with pytest.raises(ValueError, match="no words for"):
        Note.model_validate({"code": "made_up"})


def test_a_word_that_a_table_lacks_is_no_silent_gap():
    with pytest.raises(ValueError, match=r"from_view\.nowhere"):
        note(NoteCode.ONE_CAMERA_NOT_RELIABLE, view="nowhere")


def test_numbers_lists_and_plurals_follow_the_language():
    german = catalogue("de")
    assert german.number(-1234.5, 1) == "−1234,5"
    assert german.number(-0.001, 1) == "0,0"
    assert german.figures(1234.0, 3) == "1230"
    assert german("progress.days", count=1) == "1 Tag"
    assert german("progress.days", count=3) == "3 Tagen"
    assert german("page.count", count=0) == "Keine Wiederholung"
    missing = note(NoteCode.EVENT_NOT_FOUND, events=("trophy", "contact"))
    assert missing.text == "The trophy position and contact could not be found in the motion."
    assert german.note(missing).endswith("Trophy-Position und Treffpunkt.")


@pytest.mark.parametrize(
    ("header", "language"),
    [("de", "de"), ("de-CH, en;q=0.5", "de"), ("en, de;q=0.9", "en"), ("fr, de;q=0.2", "de"),
     ("de;q=0, en;q=0.1", "en"), ("DE-at", "de"), ("de;q=x, fr", "en"), ("en;q=0.3,de;q=1", "de")],
)  # fmt: skip
def test_the_language_is_negotiated(header, language):
    assert negotiate(header) == language


def test_every_code_is_said_somewhere():
    source = "\n".join(
        path.read_text("utf-8")
        for top in ("models", "service", "workers")
        for path in (PROJECT / top).rglob("*.py")
    )
    assert [code.name for code in NoteCode if f"NoteCode.{code.name}" not in source] == []
