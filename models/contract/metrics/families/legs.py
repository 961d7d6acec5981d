"""Knees: flexion at trophy, loading and contact, extension speed, and the drive upward."""

from __future__ import annotations

from models.contract.metrics.definition import (
    LOADED,
    BodyPart,
    Drawn,
    Live,
    LiveReading,
    Mark,
    MetricDefinition,
    MetricWording,
    Need,
    StandingWords,
    Taken,
    UsualRange,
)
from models.contract.metrics.truth import TruthPath
from models.contract.metrics.units import Unit
from models.contract.vocabulary import EventName

FEET = frozenset({Need.FEET})
DRIVE = (EventName.LOADING, EventName.CONTACT)
POOLED = "Front Sports Act Living 2024, doi 10.3389/fspor.2024.1432030"

DEFINITIONS = (
    MetricDefinition(
        key="front_knee_flexion",
        unit=Unit.DEGREE,
        part=BodyPart.LEGS_AND_WEIGHT,
        greater="more bent; 0 = straight",
        taken=(
            Taken(
                EventName.TROPHY,
                reference=f"64.5 ± 9.7 deg at trophy, pooled over studies ({POOLED}).",
                usual=UsualRange(64.5 - 2 * 9.7, 64.5 + 2 * 9.7),
                truth=TruthPath("metrics.trophy.front_knee_flexion"),
            ),
            Taken(
                EventName.LOADING,
                kinds=LOADED,
                reference="Peak 69.2 deg, 8 collegiate men (thesis, Cardiff 2013).",
                truth=TruthPath("metrics.lowest_pelvis.front_knee_flexion"),
            ),
            Taken(
                EventName.CONTACT,
                reference="Slightly flexed (Sports Biomech 2003, 2(1):51-64).",
                truth=TruthPath("metrics.contact.front_knee_flexion"),
            ),
        ),
        needs=FEET,
        tolerance=6.0,
        lowest=0.0,
        aim=4.0,
        rank=20,
        headline=True,
        drawn=Drawn(
            Mark.KNEES,
            live=Live(LiveReading.FLEXION, ("front_hip", "front_knee", "front_ankle")),
        ),
        wording={
            "en": MetricWording(
                "Front knee flexion",
                "Front knee bend",
                "0° is a straight leg.",
                {
                    EventName.TROPHY: StandingWords(
                        below="Your front knee bends less than in most published serves",
                        inside="Your front knee bends as much as in published serves",
                        above="Your front knee bends more than in most published serves",
                        source=f"pooled mean 64.5° ± 9.7°, shown ± 2 SD; {POOLED}",
                    )
                },
            ),
            "de": MetricWording(
                "Kniebeugung vorn",
                "Beugung des vorderen Knies",
                "0° ist ein gestrecktes Bein.",
                {
                    EventName.TROPHY: StandingWords(
                        below="Dein vorderes Knie beugt sich weniger als in den meisten "
                        "veröffentlichten Aufschlägen",
                        inside="Dein vorderes Knie beugt sich so weit wie in veröffentlichten "
                        "Aufschlägen",
                        above="Dein vorderes Knie beugt sich mehr als in den meisten "
                        "veröffentlichten Aufschlägen",
                        source="Mittel über mehrere Studien 64,5° ± 9,7°, gezeigt ± 2 "
                        f"Standardabweichungen; {POOLED}",
                    )
                },
            ),
        },
    ),
    MetricDefinition(
        key="front_knee_extension_speed",
        unit=Unit.DEGREE_PER_SECOND,
        part=BodyPart.LEGS_AND_WEIGHT,
        greater="straightens faster",
        taken=(Taken(uses=DRIVE, truth=TruthPath("measures.knee_extension_speed.front")),),
        needs=FEET,
        min_fps=50.0,
        tolerance=120.0,
        wording={
            "en": MetricWording(
                "Front knee extension speed",
                "Front knee: how fast it straightens",
                "Fastest straightening during the drive.",
            ),
            "de": MetricWording(
                "Streckgeschwindigkeit des vorderen Knies",
                "Vorderes Knie: wie schnell es sich streckt",
                "Schnellste Streckung beim Abdruck vom Boden.",
            ),
        },
    ),
    MetricDefinition(
        key="rear_knee_flexion",
        unit=Unit.DEGREE,
        part=BodyPart.LEGS_AND_WEIGHT,
        greater="more bent; 0 = straight",
        taken=(
            Taken(EventName.TROPHY, truth=TruthPath("metrics.trophy.rear_knee_flexion")),
            Taken(
                EventName.LOADING,
                kinds=LOADED,
                reference="Peak 78.5 deg, 8 collegiate men (thesis, Cardiff 2013).",
                truth=TruthPath("metrics.lowest_pelvis.rear_knee_flexion"),
            ),
            Taken(EventName.CONTACT, truth=TruthPath("metrics.contact.rear_knee_flexion")),
        ),
        needs=FEET,
        tolerance=6.0,
        lowest=0.0,
        aim=4.0,
        rank=30,
        headline=True,
        drawn=Drawn(
            Mark.KNEES,
            live=Live(LiveReading.FLEXION, ("rear_hip", "rear_knee", "rear_ankle")),
        ),
        wording={
            "en": MetricWording("Rear knee flexion", "Rear knee bend", "0° is a straight leg."),
            "de": MetricWording(
                "Kniebeugung hinten",
                "Beugung des hinteren Knies",
                "0° ist ein gestrecktes Bein.",
            ),
        },
    ),
    MetricDefinition(
        key="rear_knee_extension_speed",
        unit=Unit.DEGREE_PER_SECOND,
        part=BodyPart.LEGS_AND_WEIGHT,
        greater="straightens faster",
        taken=(Taken(uses=DRIVE, truth=TruthPath("measures.knee_extension_speed.rear")),),
        needs=FEET,
        min_fps=50.0,
        tolerance=120.0,
        wording={
            "en": MetricWording(
                "Rear knee extension speed",
                "Rear knee: how fast it straightens",
                "Fastest straightening during the drive.",
            ),
            "de": MetricWording(
                "Streckgeschwindigkeit des hinteren Knies",
                "Hinteres Knie: wie schnell es sich streckt",
                "Schnellste Streckung beim Abdruck vom Boden.",
            ),
        },
    ),
    MetricDefinition(
        key="leg_drive_speed",
        unit=Unit.METRE_PER_SECOND,
        part=BodyPart.LEGS_AND_WEIGHT,
        greater="faster upward",
        taken=(Taken(uses=DRIVE, truth=TruthPath("measures.leg_drive_speed.peak")),),
        needs=frozenset({Need.STATURE}),
        tolerance=0.3,
        wording={
            "en": MetricWording(
                "Upward speed of the pelvis, peak",
                "How fast the hips rise",
                "Fastest upward speed of the pelvis.",
            ),
            "de": MetricWording(
                "Größte Aufwärtsgeschwindigkeit des Beckens",
                "Wie schnell die Hüfte nach oben geht",
                "Größte Geschwindigkeit des Beckens nach oben.",
            ),
        },
    ),
)
