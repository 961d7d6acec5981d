"""Trunk and shoulder line: how they lean at trophy and contact."""

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
    StandingWords,
    Taken,
    UsualRange,
)
from models.contract.metrics.truth import TruthDifference, TruthPath
from models.contract.metrics.units import Unit
from models.contract.vocabulary import EventName

POOLED = "Front Sports Act Living 2024, doi 10.3389/fspor.2024.1432030"

DEFINITIONS = (
    MetricDefinition(
        key="shoulder_line_tilt",
        unit=Unit.DEGREE,
        part=BodyPart.PELVIS_AND_TRUNK,
        greater="front shoulder higher; negative = hitting shoulder higher",
        taken=(
            Taken(EventName.TROPHY, kinds=LOADED, truth=TruthPath("metrics.trophy.shoulder_tilt")),
            Taken(EventName.CONTACT, truth=TruthPath("metrics.contact.shoulder_tilt")),
        ),
        tolerance=4.5,
        aim=3.0,
        rank=40,
        drawn=Drawn(
            Mark.SHOULDERS,
            live=Live(LiveReading.ELEVATION, ("hitting_shoulder", "tossing_shoulder")),
        ),
        wording={
            "en": MetricWording(
                "Shoulder-line tilt",
                "Shoulder line tilt (+ front up)",
                "Above zero the front shoulder is higher, below zero the hitting shoulder.",
            ),
            "de": MetricWording(
                "Neigung der Schulterlinie",
                "Neigung der Schulterlinie (+ vordere höher)",
                "Über null ist die vordere Schulter höher, unter null die Schlagschulter.",
            ),
        },
    ),
    MetricDefinition(
        key="trunk_inclination",
        unit=Unit.DEGREE,
        part=BodyPart.PELVIS_AND_TRUNK,
        greater="farther from upright, whatever the direction",
        taken=(
            Taken(
                EventName.TROPHY,
                kinds=LOADED,
                reference="25.0 ± 7.1 deg from the vertical at trophy, pooled over studies "
                f"({POOLED}).",
                usual=UsualRange(25.0 - 2 * 7.1, 25.0 + 2 * 7.1),
                truth=TruthPath("metrics.trophy.trunk_inclination"),
            ),
            Taken(
                EventName.CONTACT,
                reference="48 deg above the horizontal = 42 deg from the vertical, world-class "
                "players (Sports Biomech 2003, 2(1):51-64).",
                truth=TruthPath("metrics.contact.trunk_inclination"),
            ),
        ),
        tolerance=4.5,
        lowest=0.0,
        aim=3.0,
        rank=80,
        wording={
            "en": MetricWording(
                "Trunk inclination",
                "Trunk away from upright",
                "0° is upright; the direction does not count.",
                {
                    EventName.TROPHY: StandingWords(
                        below="Your trunk is more upright in the trophy position than in most "
                        "published serves",
                        inside="Your trunk leans in the trophy position as in published serves",
                        above="Your trunk leans more in the trophy position than in most "
                        "published serves",
                        source=f"pooled mean 25.0° ± 7.1°, shown ± 2 SD; {POOLED}",
                    )
                },
            ),
            "de": MetricWording(
                "Rumpfneigung",
                "Neigung des Rumpfs gegen die Senkrechte",
                "0° ist aufrecht; die Richtung zählt nicht.",
                {
                    EventName.TROPHY: StandingWords(
                        below="Dein Rumpf ist in der Trophy-Position aufrechter als in den "
                        "meisten veröffentlichten Aufschlägen",
                        inside="Dein Rumpf neigt sich in der Trophy-Position wie in "
                        "veröffentlichten Aufschlägen",
                        above="Dein Rumpf neigt sich in der Trophy-Position mehr als in den "
                        "meisten veröffentlichten Aufschlägen",
                        source="Mittel über mehrere Studien 25,0° ± 7,1°, gezeigt ± 2 "
                        f"Standardabweichungen; {POOLED}",
                    )
                },
            ),
        },
    ),
    MetricDefinition(
        key="trunk_lateral_tilt",
        unit=Unit.DEGREE,
        part=BodyPart.PELVIS_AND_TRUNK,
        greater="to the tossing side; negative = to the hitting side",
        taken=(
            Taken(
                EventName.TROPHY,
                kinds=LOADED,
                truth=TruthPath("measures.trunk_lateral_tilt.trophy"),
            ),
            Taken(EventName.CONTACT, truth=TruthPath("measures.trunk_lateral_tilt.contact")),
        ),
        tolerance=6.0,
        rank=130,
        wording={
            "en": MetricWording(
                "Trunk lean to the tossing side",
                "Trunk leaning to the tossing side",
                "0° is upright; below zero it leans to the hitting side.",
            ),
            "de": MetricWording(
                "Rumpfneigung zur Wurfseite",
                "Neigung des Rumpfs zur Wurfseite",
                "0° ist aufrecht; unter null neigt er sich zur Schlagseite.",
            ),
        },
    ),
    MetricDefinition(
        key="trunk_backward_tilt",
        unit=Unit.DEGREE,
        part=BodyPart.PELVIS_AND_TRUNK,
        greater="away from the target; negative = toward it",
        taken=(
            Taken(
                EventName.TROPHY, kinds=LOADED, truth=TruthPath("measures.trunk_lean.trophy", -1.0)
            ),
            Taken(EventName.CONTACT, truth=TruthPath("measures.trunk_lean.contact", -1.0)),
        ),
        tolerance=6.0,
        wording={
            "en": MetricWording(
                "Trunk lean away from the target",
                "Trunk leaning away from the net",
                "0° is upright; below zero it leans towards the net.",
            ),
            "de": MetricWording(
                "Rumpfneigung vom Ziel weg",
                "Neigung des Rumpfs vom Netz weg",
                "0° ist aufrecht; unter null neigt er sich zum Netz.",
            ),
        },
    ),
    MetricDefinition(
        key="shoulder_over_shoulder",
        unit=Unit.DEGREE,
        part=BodyPart.PELVIS_AND_TRUNK,
        greater="hitting shoulder comes farther over the front one",
        taken=(
            Taken(
                uses=(EventName.TROPHY, EventName.CONTACT),
                parts=("shoulder_line_tilt@trophy", "shoulder_line_tilt@contact"),
                truth=TruthDifference("shoulder_line_tilt@trophy", "shoulder_line_tilt@contact"),
            ),
        ),
        tolerance=7.0,
        wording={
            "en": MetricWording(
                "Shoulder over shoulder",
                "Change of the shoulder line to contact",
                "How far the hitting shoulder comes up over the front one.",
            ),
            "de": MetricWording(
                "Schulter über Schulter",
                "Änderung der Schulterlinie bis zum Treffpunkt",
                "Wie weit die Schlagschulter über die vordere kommt.",
            ),
        },
    ),
)
