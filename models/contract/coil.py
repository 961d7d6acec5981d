"""Whether a player turned away while the knees bent, or only bent: one judgement a repetition."""

from __future__ import annotations

from enum import StrEnum

from pydantic import Field

from models.contract.base import Document, Share
from models.contract.note import Note
from models.contract.vocabulary import View

TURN_PER_BEND = 0.15
"""Degrees that knees, hips and shoulders turn away, on average, for each degree of knee bend below
which a player only bends (common practice, no source)."""


class CoilVerdict(StrEnum):
    """What the body did from set-up to loading."""

    TURNED_AWAY = "turned_away"
    ONLY_BENT = "only_bent"
    NOT_LOADED = "not_loaded"
    UNDECIDED = "undecided"


class CoilJudgement(Document):
    """Turned away from the target, or only bent, from set-up to loading.

    The three probabilities add up to 1; they are null where nothing can be said at all.
    """

    verdict: CoilVerdict = Field(
        description="`turned_away`: the lines of knees, hips and shoulders turn away from the "
        "target, on average by more than 0.15 degrees for each degree of knee bend; `only_bent`: "
        "the knees bend and the lines hardly turn; `not_loaded`: the knees hardly bend "
        "beyond the set-up; `undecided`: none of these is probable enough."
    )
    turned_away: Share | None = Field(description="Probability of `turned_away`.")
    only_bent: Share | None = Field(description="Probability of `only_bent`.")
    not_loaded: Share | None = Field(description="Probability of `not_loaded`.")
    film_from: View | None = Field(
        default=None,
        description="Camera place from which one film decides most often; null where decided.",
    )
    reason: Note | None = Field(default=None, description="Why it is undecided.")
