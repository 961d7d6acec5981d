"""Where each caution belongs: beside what it concerns."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from models.contract.note import Note
from models.contract.note_codes import NoteCode
from models.words import Words

_OF_NUMBERS = frozenset({NoteCode.ESTIMATES_FROM_FILM})
_OF_FILMS = frozenset({NoteCode.LOCAL_RULES_FIRST, NoteCode.MINOR_FILMS_ERASED})


@dataclass(frozen=True, slots=True)
class Cautions:
    """Cautions, by what they concern: the numbers, the work on the serve, the films."""

    numbers: tuple[str, ...]
    work: tuple[str, ...]
    films: tuple[str, ...]


def cautions_of(notes: Iterable[Note], words: Words) -> Cautions:
    """Return each caution once, beside what it concerns; a coach's own concern the work."""
    every = tuple(dict.fromkeys(notes))
    films = tuple(words.note(n) for n in every if n.code in _OF_FILMS)
    numbers = tuple(words.note(n) for n in every if n.code in _OF_NUMBERS)
    rest = (n for n in every if n.code not in _OF_FILMS | _OF_NUMBERS)
    return Cautions(numbers, tuple(words.note(n) for n in rest), films)
