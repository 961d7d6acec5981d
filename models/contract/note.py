"""A sentence of a document as a code with parameters; its wording is in the catalogue."""

from __future__ import annotations

from functools import cache
from typing import Any, Union

from pydantic import Field, model_validator

from models.contract.base import Document
from models.contract.note_codes import NoteCode
from models.words import english

WRITTEN = "text"
"""Code of a sentence that somebody wrote (a rule file, an earlier version): there is no other
wording of it."""

Parameter = Union[str, int, float, tuple[str, ...], "Note"]


class Note(Document):
    """A reason, a note or a caution."""

    code: str = Field(
        pattern=r"^[a-z][a-z0-9_]*$",
        description="Stable code: branch on it. `text` is a sentence that somebody wrote.",
    )
    parameters: dict[str, Parameter] = Field(
        default_factory=dict,
        description="What the sentence names; units as in the words of the code "
        "(GET /v1/words/{language}).",
    )
    text: str = Field(
        description="The sentence in English, as it was when it was made: for people."
    )

    @model_validator(mode="before")
    @classmethod
    def _in_words(cls, given: Any) -> Any:
        """Take a bare sentence, as version 1 of documents has it; word a code that has no text."""
        if isinstance(given, str):
            return {"code": _bare().get(given, WRITTEN), "text": given}
        if isinstance(given, dict) and "text" not in given and "code" in given:
            try:
                text = english()(f"note.{given['code']}", **given.get("parameters", {}))
            except KeyError as error:
                raise ValueError(str(error)) from None
            return {**given, "text": text}
        return given

    def __hash__(self) -> int:
        return hash((self.code, self.text))

    def __str__(self) -> str:
        return self.text


@cache
def _bare() -> dict[str, str]:
    """Return the codes of sentences that name nothing (cautions, say), by their English."""
    entries = english().find("note")
    return {entries[code.value]: code.value for code in NoteCode if "{" not in entries[code.value]}


def note(code: NoteCode, **parameters: Parameter) -> Note:
    """Return a note with its English words.

    Raises
    ------
    ValueError
        The words of the code need a parameter that is not given (``ValidationError``).
    """
    return Note.model_validate({"code": code.value, "parameters": parameters})


def written(text: str) -> Note:
    """Return a sentence that somebody wrote as a note."""
    return Note(code=WRITTEN, text=text)
