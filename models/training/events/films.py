"""How often what films stated of events held: rows of the table for what the body alone tells.

Width and bias of what lags tell are the calibration's, those of the curves of knees and pelvis
their own. The films should be of a generator that the calibration did not see, since figures of its
own films would say too much.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Collection, Iterable
from pathlib import Path

from models.contract.vocabulary import RepetitionKind
from workers.engine.accuracy import EventError
from workers.engine.event_errors import BODY, RATES, nearest_rate

Row = tuple[str, str, float, float, float, float, int]
LEAST = 12
"""Events from which a row is written."""
Z95 = 1.96
OF_BODY = (BODY, "knees", "pelvis")
"""What the body alone tells an event by: lags, and the curves of `workers.engine.bend`."""


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
    """Return rows (event, source, rate, 0, 1, share within, count); nothing is moved or widened.

    The share is that of one success and one failure more than were seen.
    """
    held: dict[tuple[str, str, float], list[bool]] = defaultdict(list)
    for event in events:
        source = event.method.split("+")[0] or BODY
        if event.seconds is not None and event.sd_s is not None and source in OF_BODY:
            inside = abs(event.seconds) <= Z95 * event.sd_s
            held[event.event.value, source, nearest_rate(event.fps)].append(inside)
    return [
        (event, source, rate, 0.0, 1.0, round((sum(seen) + 1.0) / (len(seen) + 2.0), 3), len(seen))
        for (event, source, rate), seen in sorted(held.items())
        if rate in RATES and len(seen) >= LEAST
    ]


def kept_rows(path: Path, sources: Collection[str] = OF_BODY) -> tuple[str, list[Row]]:
    """Return what a table says of its other rows, and its rows of other sources."""
    table = json.loads(path.read_text("utf-8"))
    about = str(table["about"])
    if BODY in sources:
        about = about.partition("; body")[0]
    about = about.partition(f"; {', '.join(sources)}: ")[0]
    return about, [tuple(row) for row in table["events"] if row[1] not in sources]
