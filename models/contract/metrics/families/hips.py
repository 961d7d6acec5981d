"""Where the hips go between set-up and loading, in leg lengths."""

from __future__ import annotations

from models.contract.metrics.definition import (
    BodyPart,
    Drawn,
    Mark,
    MetricDefinition,
    MetricWording,
    Need,
    Taken,
)
from models.contract.metrics.truth import TruthPath
from models.contract.metrics.units import Unit
from models.contract.vocabulary import EventName

DEFINITIONS = (
    MetricDefinition(
        key="rear_hip_drop",
        unit=Unit.RATIO,
        part=BodyPart.LEGS_AND_WEIGHT,
        greater="lower than at set-up",
        taken=(
            Taken(
                EventName.LOADING,
                uses=(EventName.SET_UP,),
                truth=TruthPath("measures.rear_hip_drop.loading"),
            ),
        ),
        needs=frozenset({Need.FEET}),
        tolerance=0.06,
        rank=140,
        percent=True,
        drawn=Drawn(Mark.HIPS),
        wording={
            "en": MetricWording(
                "Rear hip sinks",
                "Rear hip: how far down",
                "How far the back hip sinks, as a share of your leg length.",
            ),
            "de": MetricWording(
                "Absenken der hinteren Hüfte",
                "Hintere Hüfte: wie weit nach unten",
                "Wie weit die hintere Hüfte sinkt, als Anteil deiner Beinlänge.",
            ),
        },
    ),
    MetricDefinition(
        key="rear_hip_setback",
        unit=Unit.RATIO,
        part=BodyPart.LEGS_AND_WEIGHT,
        greater="farther from the target than at set-up",
        taken=(
            Taken(
                EventName.LOADING,
                uses=(EventName.SET_UP,),
                truth=TruthPath("measures.rear_hip_setback.loading"),
            ),
        ),
        needs=frozenset({Need.FEET}),
        tolerance=0.06,
        percent=True,
        drawn=Drawn(Mark.HIPS),
        wording={
            "en": MetricWording(
                "Rear hip moves back",
                "Rear hip: how far back",
                "How far the back hip moves away from the net, as a share of your leg length.",
            ),
            "de": MetricWording(
                "Zurückschieben der hinteren Hüfte",
                "Hintere Hüfte: wie weit nach hinten",
                "Wie weit die hintere Hüfte vom Netz weg wandert, als Anteil deiner Beinlänge.",
            ),
        },
    ),
    MetricDefinition(
        key="front_hip_advance",
        unit=Unit.RATIO,
        part=BodyPart.LEGS_AND_WEIGHT,
        greater="farther to the target",
        taken=(Taken(EventName.LOADING, truth=TruthPath("measures.front_hip_advance.loading")),),
        needs=frozenset({Need.FEET}),
        tolerance=0.06,
        rank=150,
        percent=True,
        drawn=Drawn(Mark.HIPS),
        wording={
            "en": MetricWording(
                "Front hip ahead of the front foot",
                "Front hip ahead of the front foot",
                "How far the front hip is ahead of the front ankle, as a share of your leg length.",
            ),
            "de": MetricWording(
                "Vordere Hüfte vor dem vorderen Fuß",
                "Vordere Hüfte vor dem vorderen Fuß",
                "Wie weit die vordere Hüfte vor dem vorderen Knöchel ist, als Anteil deiner "
                "Beinlänge.",
            ),
        },
    ),
)
