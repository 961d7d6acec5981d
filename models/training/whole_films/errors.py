"""Events of analysed films against the truth, a row an event."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass
from typing import Any

from models.contract.vocabulary import EventName, RepetitionKind
from workers.engine.accuracy import match
from workers.engine.event_errors import nearest_rate

from .analysed import Analysed


@dataclass(frozen=True)
class Row:
    """One event of one film.

    Attributes
    ----------
    film, generator, view : str
    fps : float
        Of those that events are judged at, per second.
    step_s : float
        Frame interval, seconds.
    sound : bool
    event : str
    found : str
        ``serve``, the other kind of work it was taken for, or empty: no work was found.
    error_s, sd_s, confidence : float or None
        Measured minus true; None where the event was not given.
    method : str
    """

    film: str
    generator: str
    view: str
    fps: float
    step_s: float
    sound: bool
    event: str
    found: str
    error_s: float | None
    sd_s: float | None
    confidence: float | None
    method: str

    def within(self, frames: float) -> bool:
        """Whether it was given and is off by so many frames at most."""
        return self.error_s is not None and abs(self.error_s) <= frames * self.step_s + 1e-9

    @property
    def held(self) -> bool | None:
        """Whether the stated 95 % interval holds the truth."""
        if self.error_s is None or self.sd_s is None:
            return None
        return abs(self.error_s) <= 1.96 * self.sd_s


def rows_of(films: Iterable[Analysed]) -> list[Row]:
    """Return a row for every true event of every serve."""
    rows = []
    for one in films:
        pairs = {id(true): found for true, found in match(one.truth.serves, one.result.repetitions)}
        for true in one.truth.serves:
            found = pairs.get(id(true))
            kind = "" if found is None else found.kind.value
            events = {} if found is None or found.kind is not RepetitionKind.SERVE else found.events
            for event, when in true.events.items():
                rows.append(_row(one, event, when, kind, events.get(event)))
    return rows


def _row(one: Analysed, event: EventName, when: float, kind: str, given: Any) -> Row:
    return Row(
        film=one.truth.name,
        generator=str(one.document.get("generator", "")),
        view=one.truth.view.value,
        fps=nearest_rate(one.truth.fps),
        step_s=1.0 / one.truth.fps,
        sound="sound" in one.document,
        event=event.value,
        found=kind,
        error_s=None if given is None else given.time_s - when,
        sd_s=None if given is None else given.uncertainty_s,
        confidence=None if given is None else given.confidence,
        method="" if given is None else given.method or "",
    )


def plain(rows: Iterable[Row]) -> list[dict[str, Any]]:
    """Return rows as plain values, for a file."""
    return [asdict(row) for row in rows]
