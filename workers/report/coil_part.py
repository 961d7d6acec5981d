"""Turned away, or only bent, in words: one sentence a repetition."""

from __future__ import annotations

from collections.abc import Sequence

from models.contract.analysis import Repetition
from models.contract.coil import CoilJudgement
from models.words import Words


def coil_lines(repetitions: Sequence[Repetition], words: Words) -> list[str]:
    """Return what was judged of each repetition, numbered where there are several."""
    judged = [
        (number, repetition.kind, repetition.coil)
        for number, repetition in enumerate(repetitions, start=1)
        if repetition.coil is not None
    ]
    if len(repetitions) == 1:
        return [_sentence(coil, words) for _, _, coil in judged]
    return [
        words(
            "coil.numbered",
            kind=words(f"kind.{kind.value}"),
            number=number,
            sentence=_sentence(coil, words),
        )
        for number, kind, coil in judged
    ]


def _sentence(coil: CoilJudgement, words: Words) -> str:
    """Return the judgement with its probability, or why there is none."""
    told = {
        "turned_away": coil.turned_away,
        "only_bent": coil.only_bent,
        "not_loaded": coil.not_loaded,
    }
    probability = told.get(coil.verdict.value)
    if probability is None:
        return words("coil.undecided", reason=words.note(coil.reason))
    return words(f"coil.{coil.verdict.value}", probability=probability)
