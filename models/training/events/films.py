"""How often what films stated of events held: rows of the table for what the body alone tells.

Width and bias are the calibration's; the films here are of a generator that the calibration did
not see, since figures of its own films would say too much.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable
from pathlib import Path

from models.contract.vocabulary import RepetitionKind
from workers.engine.accuracy import EventError
from workers.engine.event_errors import BODY, RATES, nearest_rate

Row = tuple[str, str, float, float, float, float, int]
LEAST = 12
"""Events from which a row is written."""
Z95 = 1.96


def serves_events(folders: Iterable[Path]) -> list[EventError]:
    """Return the events of the serves that ``measure --as-reported`` wrote into folders."""
    from models.training.packed_measure import read_errors

    return [
        event
        for folder in folders
        for one in read_errors(folder)
        if one.errors.kinds == (RepetitionKind.SERVE,)
        for event in one.errors.events
    ]


def body_rows(events: Iterable[EventError]) -> list[Row]:
    """Return rows (event, ``body``, rate, 0, 1, share within, count); nothing is moved or widened.

    The share is that of one success and one failure more than were seen.
    """
    held: dict[tuple[str, float], list[bool]] = defaultdict(list)
    for event in events:
        if event.seconds is not None and event.sd_s is not None:
            inside = abs(event.seconds) <= Z95 * event.sd_s
            held[event.event.value, nearest_rate(event.fps)].append(inside)
    return [
        (event, BODY, rate, 0.0, 1.0, round((sum(seen) + 1.0) / (len(seen) + 2.0), 3), len(seen))
        for (event, rate), seen in sorted(held.items())
        if rate in RATES and len(seen) >= LEAST
    ]


def kept_rows(path: Path) -> tuple[str, list[Row]]:
    """Return what a table says of itself, and its rows that movements without films made."""
    table = json.loads(path.read_text("utf-8"))
    about = str(table["about"]).partition("; body")[0]
    return about, [tuple(row) for row in table["events"] if row[1] != BODY]
