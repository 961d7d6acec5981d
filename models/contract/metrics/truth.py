"""Where the true value of a metric stands in a ground-truth document (``serveclips-truth-1``)."""

from __future__ import annotations

from dataclasses import dataclass

from models.contract.vocabulary import EventName


@dataclass(frozen=True, slots=True)
class TruthPath:
    """A number of a repetition: ``measures.trunk_lean.trophy``, times a factor."""

    path: str
    factor: float = 1.0


@dataclass(frozen=True, slots=True)
class TruthSpan:
    """The time from one true event to another."""

    first: EventName
    last: EventName


@dataclass(frozen=True, slots=True)
class TruthTurn:
    """The turn from set-up: a metric by its name, less a series of each frame at set-up."""

    end: str
    series: str


@dataclass(frozen=True, slots=True)
class TruthDifference:
    """One metric less another, both by name."""

    whole: str
    less: str


Truth = TruthPath | TruthSpan | TruthTurn | TruthDifference
