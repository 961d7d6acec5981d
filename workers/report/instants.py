"""Which instants of a repetition are shown: apart where they lie apart, else as one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from models.contract.analysis import Repetition
from models.contract.vocabulary import EventName
from models.words import Words

PICTURED: tuple[EventName, ...] = (
    EventName.SET_UP,
    EventName.LOADING,
    EventName.TROPHY,
    EventName.CONTACT,
)
"""Instants of which there are pictures."""
SLOWED: tuple[EventName, ...] = (EventName.LOADING, EventName.CONTACT)
"""Instants at which a film slows down and stands still."""
TOGETHER_S = 0.06
"""Events closer than this look alike, and are shown once (working value: the most loaded instant
and the trophy position of rendered serves are often a frame or two apart)."""


@dataclass(frozen=True, slots=True)
class ShownInstant:
    """One instant, with the events that fall together there; the first one names it."""

    events: tuple[EventName, ...]
    frame: int
    time_s: float


def instants_of(
    repetition: Repetition, wanted: Sequence[EventName] = PICTURED
) -> tuple[ShownInstant, ...]:
    """Return the instants of the wanted events in their order.

    The trophy position joins the loaded instant where the two fall together; the instant is then
    the loaded one.
    """
    found: list[ShownInstant] = []
    for event in wanted:
        here = repetition.events.get(event)
        if here is None:
            continue
        together = _together(repetition)
        if event is EventName.TROPHY and EventName.LOADING in wanted and together:
            continue
        joins = event is EventName.LOADING and together
        events = (event, EventName.TROPHY) if joins else (event,)
        found.append(ShownInstant(events, here.frame, here.time_s))
    return tuple(found)


def stops_of(repetition: Repetition) -> tuple[ShownInstant, ...]:
    """Return where a film of a repetition stands still, in order of time.

    A movement without the loaded instant and without contact stands still at the trophy position.
    """
    wanted = SLOWED if any(e in repetition.events for e in SLOWED) else (EventName.TROPHY,)
    return tuple(sorted(instants_of(repetition, wanted), key=lambda one: one.time_s))


def named(events: Sequence[EventName], words: Words) -> str:
    """Return the events of an instant in words."""
    return " · ".join(words.event(event) for event in events)


def _together(repetition: Repetition) -> bool:
    times = [
        repetition.events[event].time_s
        for event in (EventName.LOADING, EventName.TROPHY)
        if event in repetition.events
    ]
    return len(times) == 2 and abs(times[1] - times[0]) < TOGETHER_S
