"""Problems and the wording of codes, in the language asked for."""

from __future__ import annotations

import httpx
import pytest

from models.contract.errors import ClipDamaged
from models.contract.note import note
from models.contract.note_codes import NoteCode
from models.contract.problem import Problem
from models.words import LANGUAGES, catalogue
from tests.integration.api.conftest import assert_problem

UNKNOWN_CLIP = "clip_" + "0" * 32
GERMAN = {"accept-language": "de-CH,de;q=0.9,en;q=0.1"}


def test_a_problem_is_english_unless_asked_otherwise(client: httpx.Client) -> None:
    answer = client.get(f"/v1/clips/{UNKNOWN_CLIP}", headers={"accept-language": "fr"})
    body = assert_problem(answer, 404, "not_found")
    assert body["title"] == "Not found"
    assert answer.headers["content-language"] == "en"
    assert "accept-language" in answer.headers["vary"].lower()


def test_a_problem_in_german(client: httpx.Client) -> None:
    answer = client.get(f"/v1/clips/{UNKNOWN_CLIP}", headers=GERMAN)
    body = assert_problem(answer, 404, "not_found")
    assert body["title"] == "Nicht gefunden"
    assert body["detail"] == catalogue("de")("note.not_found")
    assert body["code"] == body["detail_code"] == "not_found"
    assert answer.headers["content-language"] == "de"


def test_errors_without_a_key_are_german_too(client: httpx.Client) -> None:
    answer = client.get("/v1/clips", headers={**GERMAN, "authorization": "Basic x"})
    assert assert_problem(answer, 401, "unauthenticated")["title"].startswith("API-Schlüssel")


def test_invalid_values_are_named_in_german(client: httpx.Client) -> None:
    answer = client.get("/v1/analyses?limit=0", headers=GERMAN)
    body = assert_problem(answer, 422, "invalid_request")
    (field,) = body["errors"]
    assert field == {
        "pointer": "limit",
        "detail": "Der Wert muss mindestens 1 sein.",
        "code": "greater_than_equal",
    }


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_words_of_every_code_can_be_fetched(client: httpx.Client, language: str) -> None:
    answer = client.get(f"/v1/words/{language}")
    assert answer.status_code == 200
    assert answer.headers["content-language"] == language
    body = answer.json()
    assert body["language"] == language
    assert body["languages"] == list(LANGUAGES)
    entries = body["entries"]
    reason = note(NoteCode.VIEW_NOT_RELIABLE, view="behind", better="side")
    assert "{view:from_view}" in entries[f"note.{reason.code}"]
    assert f"from_view.{reason.parameters['view']}" in entries
    assert f"title.{ClipDamaged.code}" in entries
    again = client.get(f"/v1/words/{language}", headers={"if-none-match": answer.headers["etag"]})
    assert again.status_code == 304


def test_words_of_a_language_that_is_not_there(client: httpx.Client) -> None:
    assert_problem(client.get("/v1/words/tlh"), 404, "not_found")


def test_a_stored_problem_keeps_its_code_and_is_said_anew() -> None:
    stored = Problem.of(ClipDamaged()).model_dump(mode="json")
    said = Problem.model_validate(stored).said_in(catalogue("de"))
    assert said.title == "Film beschädigt"
    assert said.detail.startswith("Die Datei ist beschädigt")
    before = {k: v for k, v in stored.items() if k not in ("detail_code", "parameters")}
    earlier = Problem.model_validate(before).said_in(catalogue("de"))
    assert earlier.detail == stored["detail"], "an earlier version left no code to say it by"
