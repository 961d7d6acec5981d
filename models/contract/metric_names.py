"""The metrics by name: what a rule, a criterion or a focus may name.

Derived from the definitions (`models.contract.metrics`).
"""

from __future__ import annotations

from difflib import get_close_matches
from typing import Annotated

from pydantic import AfterValidator, WithJsonSchema

from models.contract.metrics.catalogue import CATALOGUE
from models.contract.refusals import Refusal, refused
from models.contract.vocabulary import EventName

RENAMED = {"rear_foot_load_share_foot_centre": "rear_foot_load_share"}
"""Keys of earlier documents and rule files that mean another metric now: the weight over the rear
foot is between the feet, no longer between the ankles."""


NEAR_SHOWN = 12
"""Names that an error suggests at most, where none is alike (working value)."""


def _today(name: str) -> str:
    key, at, event = name.partition("@")
    return RENAMED.get(key, key) + at + event


def _nearest(names: tuple[str, ...], name: str) -> tuple[str, ...]:
    return () if name in names else tuple(get_close_matches(name, names, 3)) or names


def _one_of(names: tuple[str, ...], name: str) -> str:
    if near := _nearest(names, name):
        raise refused(Refusal.METRIC_UNKNOWN, near=", ".join(near[:NEAR_SHOWN]))
    return name


def known_key(key: str) -> str:
    """Return a metric's key of today. Raises ``ValueError`` that names the nearest ones."""
    return _one_of(CATALOGUE.keys, _today(key))


def known_name(name: str) -> str:
    """Return a metric's key or ``key@event`` of today.

    Raises ``ValueError`` that names the nearest ones.
    """
    return _one_of(CATALOGUE.names, _today(name))


def nearest_names(name: str) -> tuple[str, ...]:
    """Return the names nearest to one that is no metric's; nothing for one that is."""
    return _nearest(CATALOGUE.names, name)


KnownKey = Annotated[
    str,
    AfterValidator(known_key),
    WithJsonSchema({"type": "string", "enum": [*CATALOGUE.keys, *RENAMED]}),
]
"""A metric by its key."""
KnownName = Annotated[
    str,
    AfterValidator(known_name),
    WithJsonSchema({"type": "string", "enum": list(CATALOGUE.names)}),
]
"""A metric by its key at all its events, or at one: ``elbow_flexion@contact``."""


def check_condition(key: str, event: EventName | None, unit: str) -> None:
    """Raise ``ValueError`` where a condition could never be met: no such event, another unit."""
    metric = CATALOGUE[key]
    if event is not None and event not in metric.events:
        if not metric.events:
            raise refused(Refusal.METRIC_WITHOUT_EVENT, metric=key)
        taken = ", ".join(metric.events)
        raise refused(Refusal.EVENT_NOT_OF_METRIC, metric=key, events=taken)
    if unit != metric.unit:
        raise refused(Refusal.UNIT_NOT_OF_METRIC, metric=key, unit=metric.unit)
