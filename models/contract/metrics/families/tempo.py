"""Rhythm: durations between events."""

from __future__ import annotations

from models.contract.metrics.definition import BodyPart, MetricDefinition, MetricWording, Taken
from models.contract.metrics.truth import TruthSpan
from models.contract.metrics.units import Unit
from models.contract.vocabulary import EventName


def _between(first: EventName, last: EventName) -> tuple[Taken]:
    return (Taken(uses=(first, last), truth=TruthSpan(first, last)),)


DEFINITIONS = (
    MetricDefinition(
        key="tempo",
        unit=Unit.SECOND,
        part=BodyPart.TIMING,
        greater="slower",
        taken=_between(EventName.SET_UP, EventName.CONTACT),
        lowest=0.0,
        wording={
            "en": MetricWording(
                "Set-up to contact", "Set-up to contact", "The whole rhythm, in seconds."
            ),
            "de": MetricWording(
                "Von der Ausgangsstellung zum Treffpunkt",
                "Von der Ausgangsstellung zum Treffpunkt",
                "Der ganze Rhythmus, in Sekunden.",
            ),
        },
    ),
    MetricDefinition(
        key="tempo_set_up_release",
        unit=Unit.SECOND,
        part=BodyPart.TIMING,
        greater="slower",
        taken=_between(EventName.SET_UP, EventName.RELEASE),
        lowest=0.0,
        wording={
            "en": MetricWording("Set-up to release", "Set-up to ball release"),
            "de": MetricWording(
                "Von der Ausgangsstellung zum Loslassen",
                "Von der Ausgangsstellung bis der Ball die Hand verlässt",
            ),
        },
    ),
    MetricDefinition(
        key="tempo_release_trophy",
        unit=Unit.SECOND,
        part=BodyPart.TIMING,
        greater="slower",
        taken=_between(EventName.RELEASE, EventName.TROPHY),
        lowest=0.0,
        wording={
            "en": MetricWording("Release to trophy", "Ball release to trophy position"),
            "de": MetricWording(
                "Vom Loslassen zur Trophy-Position",
                "Vom Loslassen des Balls zur Trophy-Position",
            ),
        },
    ),
    MetricDefinition(
        key="tempo_trophy_contact",
        unit=Unit.SECOND,
        part=BodyPart.TIMING,
        greater="slower",
        taken=_between(EventName.TROPHY, EventName.CONTACT),
        lowest=0.0,
        wording={
            "en": MetricWording("Trophy to contact", "Trophy position to contact"),
            "de": MetricWording(
                "Von der Trophy-Position zum Treffpunkt",
                "Von der Trophy-Position zum Treffpunkt",
            ),
        },
    ),
)
