"""Rhythm: durations between events."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from models.contract.tracks import FloatArray
from models.contract.vocabulary import EventName
from workers.engine.metrics.spec import MetricSpec
from workers.engine.samples import Samples


def _duration(first: EventName, last: EventName) -> Callable[[Samples], FloatArray]:
    def compute(body: Samples) -> FloatArray:
        return np.asarray(body.when(last) - body.when(first))

    compute.__doc__ = f"Time from {first.value} to {last.value}, seconds."
    return compute


def _spec(key: str, title: str, first: EventName, last: EventName) -> MetricSpec:
    return MetricSpec(key, title, "s", None, _duration(first, last), uses=(first, last), lowest=0.0)


METRICS = (
    _spec("tempo", "Set-up to contact", EventName.SET_UP, EventName.CONTACT),
    _spec("tempo_set_up_release", "Set-up to release", EventName.SET_UP, EventName.RELEASE),
    _spec("tempo_release_trophy", "Release to trophy", EventName.RELEASE, EventName.TROPHY),
    _spec("tempo_trophy_contact", "Trophy to contact", EventName.TROPHY, EventName.CONTACT),
)
