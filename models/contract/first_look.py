"""The verdict on a film after a first look: whether it is worth the wait, and what to film instead.

Made from small pictures and the cheapest network, long before anything is measured. The full
analysis says the same things again, more surely.
"""

from __future__ import annotations

from pydantic import Field

from models.contract.analysis import ViewEstimate
from models.contract.base import Document, Finite
from models.contract.clip import ClipFacts, Usability
from models.contract.problem import Problem


class LikelyWork(Document):
    """A stretch of the film in which somebody may serve; the close look decides."""

    start_s: Finite
    end_s: Finite


class FirstLook(Document):
    """What a first look found: person, feet, view, frame rate, light, and where serves may be."""

    clip: ClipFacts
    view: ViewEstimate
    usability: Usability
    likely_work: tuple[LikelyWork, ...] = Field(
        default=(), description="Stretches that get a close look, in order, apart."
    )
    seen_s: Finite | None = Field(
        default=None,
        ge=0,
        description=(
            "The verdict rests on so much of the film from its beginning, seconds; whether there is"
            " work in the rest is not said. Null where the whole film was looked at."
        ),
    )
    problems: tuple[Problem, ...] = ()
