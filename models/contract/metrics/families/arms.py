"""Hitting and tossing arm: elbow, shoulder elevation, contact point, toss, throw."""

from __future__ import annotations

from models.contract.metrics.definition import (
    LOADED,
    SWINGS,
    THROWS,
    BodyPart,
    Drawn,
    Live,
    LiveReading,
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

POOLED = "Front Sports Act Living 2024, doi 10.3389/fspor.2024.1432030"

DEFINITIONS = (
    MetricDefinition(
        key="elbow_flexion",
        unit=Unit.DEGREE,
        part=BodyPart.ARMS,
        greater="more bent; 0 = straight",
        taken=(
            Taken(
                EventName.TROPHY,
                kinds=LOADED,
                truth=TruthPath("metrics.trophy.hitting_elbow_flexion"),
            ),
            Taken(
                EventName.RACKET_LOW,
                reference="104 deg at the cocked position, world-class players (Sports Biomech "
                "2003, 2(1):51-64).",
                truth=TruthPath("metrics.racket_low.hitting_elbow_flexion"),
            ),
            Taken(
                EventName.CONTACT,
                reference=f"30.1 ± 15.9 deg at impact, pooled over studies ({POOLED}).",
                usual=UsualRange(0.0, 30.1 + 2 * 15.9),
                truth=TruthPath("metrics.contact.hitting_elbow_flexion"),
            ),
        ),
        tolerance=9.0,
        lowest=0.0,
        aim=6.0,
        rank=90,
        drawn=Drawn(
            live=Live(LiveReading.FLEXION, ("hitting_shoulder", "hitting_elbow", "hitting_wrist"))
        ),
        wording={
            "en": MetricWording(
                "Hitting elbow flexion",
                "Hitting elbow bend",
                "0° is a straight arm.",
                {
                    EventName.CONTACT: StandingWords(
                        inside="Your hitting arm is about as straight at contact as in "
                        "published serves",
                        above="Your hitting arm is more bent at contact than in most published "
                        "serves",
                        source=f"pooled mean 30.1° ± 15.9°, shown ± 2 SD; {POOLED}",
                    )
                },
            ),
            "de": MetricWording(
                "Ellbogenbeugung des Schlagarms",
                "Beugung des Schlagellbogens",
                "0° ist ein gestreckter Arm.",
                {
                    EventName.CONTACT: StandingWords(
                        inside="Dein Schlagarm ist im Treffpunkt etwa so gestreckt wie in "
                        "veröffentlichten Aufschlägen",
                        above="Dein Schlagarm ist im Treffpunkt stärker gebeugt als in den "
                        "meisten veröffentlichten Aufschlägen",
                        source="Mittel über mehrere Studien 30,1° ± 15,9°, gezeigt ± 2 "
                        f"Standardabweichungen; {POOLED}",
                    )
                },
            ),
        },
    ),
    MetricDefinition(
        key="shoulder_elevation",
        unit=Unit.DEGREE,
        part=BodyPart.ARMS,
        greater="arm higher; 0 = along the trunk, 90 = perpendicular",
        taken=(
            Taken(
                EventName.TROPHY,
                kinds=LOADED,
                truth=TruthPath("metrics.trophy.shoulder_elevation"),
            ),
            Taken(
                EventName.CONTACT,
                reference=f"110.7 ± 16.9 deg at impact, pooled over studies ({POOLED}).",
                usual=UsualRange(110.7 - 2 * 16.9, 110.7 + 2 * 16.9),
                truth=TruthPath("metrics.contact.shoulder_elevation"),
            ),
        ),
        tolerance=9.0,
        rank=110,
        wording={
            "en": MetricWording(
                "Hitting arm elevation",
                "Hitting arm above the trunk",
                "0° is the arm along the body, 90° straight out.",
                {
                    EventName.CONTACT: StandingWords(
                        below="Your hitting arm is lower against the trunk at contact than in "
                        "most published serves",
                        inside="Your hitting arm stands to the trunk at contact as in published "
                        "serves",
                        above="Your hitting arm is higher against the trunk at contact than in "
                        "most published serves",
                        source=f"pooled mean 110.7° ± 16.9°, shown ± 2 SD; {POOLED}",
                    )
                },
            ),
            "de": MetricWording(
                "Anhebung des Schlagarms",
                "Schlagarm gegen den Rumpf",
                "0° heißt: Arm am Körper, 90° rechtwinklig abgespreizt.",
                {
                    EventName.CONTACT: StandingWords(
                        below="Dein Schlagarm steht im Treffpunkt tiefer zum Rumpf als in den "
                        "meisten veröffentlichten Aufschlägen",
                        inside="Dein Schlagarm steht im Treffpunkt zum Rumpf wie in "
                        "veröffentlichten Aufschlägen",
                        above="Dein Schlagarm steht im Treffpunkt höher zum Rumpf als in den "
                        "meisten veröffentlichten Aufschlägen",
                        source="Mittel über mehrere Studien 110,7° ± 16,9°, gezeigt ± 2 "
                        f"Standardabweichungen; {POOLED}",
                    )
                },
            ),
        },
    ),
    MetricDefinition(
        key="tossing_arm_elevation",
        unit=Unit.DEGREE,
        part=BodyPart.ARMS,
        greater="arm higher; 0 = level, 90 = straight up",
        taken=(
            Taken(EventName.RELEASE, truth=TruthPath("measures.tossing_arm_elevation.release")),
            Taken(
                EventName.TROPHY,
                kinds=LOADED,
                truth=TruthPath("measures.tossing_arm_elevation.trophy"),
            ),
        ),
        tolerance=12.0,
        wording={
            "en": MetricWording(
                "Tossing arm elevation",
                "Tossing arm raised",
                "0° is level, 90° straight up.",
            ),
            "de": MetricWording(
                "Anhebung des Wurfarms",
                "Wurfarm nach oben gestreckt",
                "0° ist waagerecht, 90° senkrecht nach oben.",
            ),
        },
    ),
    MetricDefinition(
        key="contact_height_ratio",
        unit=Unit.RATIO,
        part=BodyPart.BALL_AND_CONTACT,
        greater="higher",
        taken=(
            Taken(
                EventName.CONTACT,
                kinds=SWINGS,
                reference="Racket impact height 1.49 ± 0.03 of standing height in elite, 1.43 ± "
                "0.05 in beginners (Med Sci Sports Exerc 2005, 37(6):1021-1029); the wrist is "
                "about half a metre lower.",
                truth=TruthPath("metrics.serve.contact_wrist_height_ratio"),
            ),
        ),
        tolerance=0.03,
        aim=0.02,
        rank=100,
        percent=True,
        wording={
            "en": MetricWording(
                "Wrist height at contact",
                "Wrist height at contact",
                "Height of the hitting wrist as a share of your standing height.",
            ),
            "de": MetricWording(
                "Handgelenkhöhe im Treffpunkt",
                "Höhe des Handgelenks im Treffpunkt",
                "Höhe des Handgelenks am Schlagarm, als Anteil deiner Körpergröße.",
            ),
        },
    ),
    MetricDefinition(
        key="contact_forward",
        unit=Unit.METRE,
        part=BodyPart.BALL_AND_CONTACT,
        greater="farther to the target",
        taken=(
            Taken(
                EventName.CONTACT,
                reference="Flat serves about 0.17 m farther into the court than kick serves "
                "(Sports Med Open 2021, doi 10.1186/s40798-020-00295-2).",
                truth=TruthPath("measures.contact_forward.contact"),
            ),
        ),
        needs=frozenset({Need.FEET, Need.STATURE}),
        tolerance=0.1,
        rank=120,
        wording={
            "en": MetricWording(
                "Wrist ahead of the front foot at contact",
                "Wrist ahead of the front foot",
                "Towards the net, at contact.",
            ),
            "de": MetricWording(
                "Handgelenk vor dem vorderen Fuß im Treffpunkt",
                "Handgelenk vor dem vorderen Fuß",
                "Zum Netz hin, im Treffpunkt.",
            ),
        },
    ),
    MetricDefinition(
        key="toss_release_height",
        unit=Unit.RATIO,
        part=BodyPart.BALL_AND_CONTACT,
        greater="higher",
        taken=(Taken(EventName.RELEASE, truth=TruthPath("measures.toss_release_height.release")),),
        tolerance=0.06,
        percent=True,
        wording={
            "en": MetricWording(
                "Tossing wrist height at release",
                "Hand height when the ball leaves",
                "Height of the tossing wrist as a share of your standing height.",
            ),
            "de": MetricWording(
                "Höhe der Wurfhand beim Loslassen",
                "Höhe der Hand, wenn der Ball sie verlässt",
                "Höhe des Handgelenks am Wurfarm, als Anteil deiner Körpergröße.",
            ),
        },
    ),
    MetricDefinition(
        key="throw_elevation",
        unit=Unit.DEGREE,
        part=BodyPart.BALL_AND_CONTACT,
        greater="more upward; 0 = level",
        taken=(
            Taken(
                EventName.CONTACT,
                kinds=THROWS,
                truth=TruthPath("measures.throw_elevation.contact"),
                no_calibration="The films of the calibration hold serves only.",
            ),
        ),
        needs=frozenset({Need.FAST}),
        min_fps=50.0,
        tolerance=12.0,
        wording={
            "en": MetricWording(
                "Throw: upward direction of the hand",
                "Throwing direction above level",
                "Higher is more upward; the throw drill asks for up, not only forward.",
            ),
            "de": MetricWording(
                "Wurf: Richtung der Hand nach oben",
                "Wurfrichtung über der Waagerechten",
                "Mehr heißt steiler nach oben; die Wurfübung verlangt nach oben, nicht nur nach "
                "vorn.",
            ),
        },
    ),
)
