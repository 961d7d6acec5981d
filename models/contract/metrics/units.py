"""The units of metrics, and how precisely a number in each is kept and read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum


class Unit(StrEnum):
    """Unit of a metric, as documents name it."""

    DEGREE = "deg"
    DEGREE_PER_SECOND = "deg/s"
    MILLISECOND = "ms"
    SECOND = "s"
    METRE = "m"
    METRE_PER_SECOND = "m/s"
    RATIO = "1"


@dataclass(frozen=True, slots=True)
class UnitFacts:
    """How numbers of a unit are written.

    Attributes
    ----------
    stored : int
        Decimals of a value in a document: well under what any film resolves.
    read : int
        Decimals of a value that people read: about what a good film resolves.
    error : str
        Format of an error in the accuracy report, which is smaller than the value.
    sign : str
        What stands behind a number in plain text, with its space.
    timed : bool
        Wrong where the clip's times are wrong.
    """

    stored: int
    read: int
    error: str
    sign: str
    timed: bool = False


UNITS: Mapping[Unit, UnitFacts] = {
    Unit.DEGREE: UnitFacts(2, 0, ".1f", "°"),
    Unit.DEGREE_PER_SECOND: UnitFacts(1, 0, ".0f", "°/s", timed=True),
    Unit.MILLISECOND: UnitFacts(1, 0, ".0f", " ms", timed=True),
    Unit.SECOND: UnitFacts(4, 2, ".3f", " s", timed=True),
    Unit.METRE: UnitFacts(4, 2, ".3f", " m"),
    Unit.METRE_PER_SECOND: UnitFacts(3, 1, ".2f", " m/s", timed=True),
    Unit.RATIO: UnitFacts(4, 2, ".3g", ""),
}


def facts(unit: str) -> UnitFacts:
    """Return how numbers of a unit are written; of an unknown one, with the unit behind them."""
    try:
        return UNITS[Unit(unit)]
    except ValueError:
        return UnitFacts(4, 2, ".3g", f" {unit}")
