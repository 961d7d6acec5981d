"""What a comparison is called where one side shows a model: a difference, and no change."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from models.contract.comparison import Comparison, Direction
from models.contract.vocabulary import Role
from models.words import Words


@dataclass(frozen=True, slots=True)
class Said:
    """The wording of one comparison.

    Attributes
    ----------
    section : str
        Of the catalogue: ``comparison``, or ``beside_model`` for what is said otherwise there.
    turned : bool
        The second side is the model: the player's side of a difference is the other way round.
    """

    section: Literal["comparison", "beside_model"]
    turned: bool
    words: Words

    @property
    def model(self) -> bool:
        """Whether one side shows a model."""
        return self.section == "beside_model"

    def __call__(self, name: str, **parameters: str) -> str:
        """Return an entry of the section."""
        return self.words(f"{self.section}.{name}", **parameters)

    def more(self, difference: float) -> bool:
        """Return whether the side that is told about has more."""
        return (difference > 0) is not self.turned

    def way(self, direction: Direction) -> str:
        """Return which way a change went, or who is nearer to the goal."""
        other = {Direction.TOWARDS: Direction.AWAY, Direction.AWAY: Direction.TOWARDS}
        return self((other[direction] if self.turned else direction).value)


def said_of(comparison: Comparison, words: Words) -> Said:
    """Return how a comparison is worded."""
    models = [side.role is Role.MODEL for side in (comparison.first, comparison.second)]
    # Two models beside each other are told apart as before and after are.
    if models[0] == models[1]:
        return Said("comparison", False, words)
    return Said("beside_model", models[1], words)
