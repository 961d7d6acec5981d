"""What analyses have cost one machine, step by step; the time left is estimated from it."""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from typing import Self

from pydantic import Field

from models.contract.base import Document, Finite

LEAST = 1e-9
"""So many units or seconds of film are none."""
DECAY = 0.9
"""Weight of what was known when another analysis is added: the last ten or so count (working
value)."""


class Step(StrEnum):
    """Parts of an analysis whose costs follow different things, in order."""

    FIRST_LOOK = "first_look"
    CLOSE_LOOK = "close_look"
    MEASURE = "measure"
    DRAW = "draw"
    FILM = "film"
    STORE = "store"


class StepCost(Document):
    """Wall time of one step and what it was spent on.

    ``units``: seconds of film for the first look, frames for the close look and the annotated film,
    stretches of likely work for measuring and drawing, 1 for storing.
    """

    seconds: Finite = Field(ge=0)
    units: Finite = Field(ge=0)
    film_s: Finite = Field(ge=0, description="Length of the films.")


class MeasuredCosts(Document):
    """Decaying sums over the finished analyses of one machine; empty = nothing is known yet."""

    steps: dict[Step, StepCost] = Field(default_factory=dict)

    def with_run(self, run: Mapping[Step, StepCost]) -> Self:
        """Return the costs with one more analysis in them."""
        steps = dict(self.steps)
        for step, new in run.items():
            old = steps.get(step)
            steps[step] = new if old is None else _sum(old, new)
        return self.model_copy(update={"steps": steps})

    def expected_s(self, step: Step, film_s: float, units: float | None) -> float | None:
        """Return what a step will take, seconds; None while it was never measured.

        Parameters
        ----------
        film_s : float
            Length of the film, seconds.
        units : float or None
            What it is spent on; None while not known: then as for the films so far.
        """
        known = self.steps.get(step)
        if known is None:
            return None
        per, count = (known.film_s, film_s) if units is None else (known.units, units)
        return known.seconds / per * count if per > LEAST else 0.0


def _sum(old: StepCost, new: StepCost) -> StepCost:
    return StepCost(
        seconds=DECAY * old.seconds + new.seconds,
        units=DECAY * old.units + new.units,
        film_s=DECAY * old.film_s + new.film_s,
    )
