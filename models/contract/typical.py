"""What several repetitions of one film have in common, and which of them differs."""

from __future__ import annotations

from pydantic import Field

from models.contract.base import Document, Finite
from models.contract.vocabulary import EventName, RepetitionKind

ENOUGH = 3
"""From so many repetitions one can be said to differ from the others."""


class TypicalValue(Document):
    """One metric over the repetitions that measure it."""

    key: str
    event: EventName | None
    value: Finite = Field(description="Median of the repetitions.")
    low: Finite
    high: Finite
    scatter: Finite = Field(
        ge=0,
        description="Standard deviation between repetitions as seen: what the player varies and "
        "what measuring varies.",
    )
    measuring: Finite | None = Field(
        ge=0,
        description="The standard deviation that measuring alone gives between repetitions of one "
        "film; null where not known.",
    )
    unit: str
    repetitions: int = Field(ge=2, description="How many measure it.")


class Differing(Document):
    """A repetition that surely differs from the others in one metric."""

    repetition: int = Field(ge=1, description="Counted from one, in order of time.")
    key: str
    event: EventName | None
    value: Finite
    others: Finite = Field(description="Median of the others.")
    unit: str


class Typical(Document):
    """The player's typical repetition in this film."""

    kind: RepetitionKind
    numbers: tuple[int, ...] = Field(
        min_length=2, description="The repetitions it is of, counted from one."
    )
    most_typical: int = Field(ge=1, description="The repetition nearest to the typical values.")
    values: tuple[TypicalValue, ...]
    differing: tuple[Differing, ...] = ()
