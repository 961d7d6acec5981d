"""The judgement of the turn in words, on the page and in both languages."""

from __future__ import annotations

import pytest

from models.contract.analysis import Repetition
from models.contract.coil import CoilJudgement, CoilVerdict
from models.contract.note import note
from models.contract.note_codes import NoteCode
from models.contract.vocabulary import RepetitionKind, View
from models.words import catalogue
from workers.report.analysis_page import analysis_page
from workers.report.coil_part import coil_lines

CLOSE = note(NoteCode.COIL_OTHER_PLACE, view="side", better="front_quarter")


def repetition(verdict: CoilVerdict, turned: float | None = 0.1) -> Repetition:
    coil = CoilJudgement(
        verdict=verdict,
        turned_away=turned,
        only_bent=None if turned is None else 0.86,
        not_loaded=None if turned is None else 0.04,
        film_from=View.FRONT_QUARTER,
        reason=CLOSE if verdict is CoilVerdict.UNDECIDED else None,
    )
    return Repetition(kind=RepetitionKind.SERVE, start_s=0, end_s=1, confidence=1, coil=coil)


@pytest.mark.parametrize(
    ("language", "verdict", "sentence"),
    [
        ("en", CoilVerdict.ONLY_BENT, "Your knees bend, but knees, hips and shoulders together "
         "hardly turn away from the target (probability 86 %)."),
        ("en", CoilVerdict.UNDECIDED, "Whether you turn away from the target or only bend your "
         "knees cannot be told. Too close to call from the side, facing the chest; film from the "
         "front quarter, where turning is seen best."),
        ("de", CoilVerdict.TURNED_AWAY, "Knie, Hüfte und Schultern zusammen drehen sich vom Ziel "
         "weg, während du in die Knie gehst (Wahrscheinlichkeit 10 %)."),
        ("de", CoilVerdict.NOT_LOADED, "Deine Knie beugen sich kaum mehr als in der "
         "Ausgangsstellung (Wahrscheinlichkeit 4 %)."),
    ],
)  # fmt: skip
def test_one_sentence_says_it(language: str, verdict: CoilVerdict, sentence: str) -> None:
    assert coil_lines([repetition(verdict)], catalogue(language)) == [sentence]


def test_nothing_known_is_undecided_and_several_are_numbered() -> None:
    none = Repetition(kind=RepetitionKind.HOLD, start_s=0, end_s=1, confidence=1)
    told = repetition(CoilVerdict.UNDECIDED, None)
    lines = coil_lines([none, told], catalogue("en"))
    assert [line[:14] for line in lines] == ["Serve 2: Wheth"]


def test_the_page_says_it(right_side) -> None:
    analysis = right_side.analysis.model_copy(
        update={
            "repetitions": tuple(
                one.model_copy(update={"coil": repetition(CoilVerdict.ONLY_BENT).coil})
                for one in right_side.analysis.repetitions
            )
        }
    )
    assert "hips and shoulders together hardly turn away" in analysis_page(analysis, {})
