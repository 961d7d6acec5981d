"""The squat finding from the engine's judgements of the coil: they tell more than the ratio."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from models.contract.analysis import Repetition
from models.contract.coil import TURN_PER_BEND, CoilJudgement
from models.contract.note import Note
from models.contract.plan import Finding
from models.contract.vocabulary import EventName

RATIO = "turn_to_bend_ratio"
EFFECT = 0.5
"""How far past its limit a squat is taken to be, in limits: a ratio anywhere between none and the
limit lies half a limit below it on average."""


@dataclass(frozen=True, slots=True)
class Coiled:
    """What the judgements of some repetitions say together.

    Attributes
    ----------
    only_bent : float or None
        Probability that the player only bends the knees; None where none was worked out.
    reason : Note or None
        Why a repetition could not be decided, with where to film.
    """

    only_bent: float | None
    reason: Note | None


def asks_for_coil(finding: Finding) -> bool:
    """Return whether a finding is what the engine judges: a squat, at the limit it judges by."""
    return (
        finding.metric == RATIO
        and finding.event in (None, EventName.LOADING)
        and finding.is_ == "<="
        and abs(finding.value - TURN_PER_BEND) < 1e-9
    )


def coiled(repetitions: Sequence[Repetition]) -> Coiled | None:
    """Return what was judged of the repetitions; None where none was (earlier engines).

    Films of one player err alike, so several repetitions are not surer than one: the probability is
    their mean.
    """
    judged: list[CoilJudgement] = [r.coil for r in repetitions if r.coil is not None]
    if not judged:
        return None
    known = [one.only_bent for one in judged if one.only_bent is not None]
    reason = next((one.reason for one in judged if one.reason is not None), None)
    return Coiled(sum(known) / len(known) if known else None, reason)
