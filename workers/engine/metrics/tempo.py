"""Rhythm: durations between events."""

from __future__ import annotations

import numpy as np

from models.contract.tracks import FloatArray
from models.contract.vocabulary import EventName
from workers.engine.metrics.spec import Formula, Formulas
from workers.engine.samples import Samples


def _duration(first: EventName, last: EventName) -> Formula:
    def compute(body: Samples) -> FloatArray:
        return np.asarray(body.when(last) - body.when(first))

    compute.__doc__ = f"Time from {first.value} to {last.value}, seconds."
    return compute


FORMULAS: Formulas = {
    "tempo": _duration(EventName.SET_UP, EventName.CONTACT),
    "tempo_set_up_release": _duration(EventName.SET_UP, EventName.RELEASE),
    "tempo_release_trophy": _duration(EventName.RELEASE, EventName.TROPHY),
    "tempo_trophy_contact": _duration(EventName.TROPHY, EventName.CONTACT),
}
