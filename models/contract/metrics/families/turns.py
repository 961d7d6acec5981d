"""Turns about the vertical: pelvis, shoulders, knees, and the separation between them.

Turn counts from set-up, positive away from the target (coiling). ``..._absolute`` counts from
the target line instead (0 = chest to the net, 90 = side-on) and needs the target direction.
"""

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
    Taken,
)
from models.contract.metrics.truth import TruthPath, TruthTurn
from models.contract.metrics.units import Unit
from models.contract.vocabulary import EventName

TOLERANCE = 12.0
"""Degrees: one and a half times what is aimed at from the side."""
TARGET = frozenset({Need.TARGET})
AWAY = "away from the target (coiling)"
ABSOLUTE = "back turned more; 0 = chest to the net, 90 = side-on"
FARTHER = "shoulders turned farther from the target than the pelvis"
SEPARATION = (
    "20-30 deg is often repeated for professionals, unverified; orientation only, no limit."
)


def _from_set_up(part: str) -> tuple[Taken]:
    truth = TruthTurn(f"{part}_turn_absolute@loading", f"{part}_turn")
    return (Taken(EventName.LOADING, uses=(EventName.SET_UP,), truth=truth),)


def _peak(part: str) -> tuple[Taken]:
    uses = (EventName.SET_UP, EventName.CONTACT)
    return (Taken(uses=uses, truth=TruthPath(f"measures.{part}_turn.peak")),)


def _absolute(part: str) -> tuple[Taken]:
    truth = TruthPath(f"metrics.lowest_pelvis.{part}_turn")
    return (Taken(EventName.LOADING, kinds=LOADED, truth=truth),)


_ABSOLUTE_EN = "0° is chest to the net, 90° side-on, more is back turned."
_ABSOLUTE_DE = "0° heißt Brust zum Netz, 90° seitlich, mehr heißt Rücken zum Netz."
_PEAK_EN = "The most of the whole movement, counted from your set-up."
_PEAK_DE = "Der größte Wert der ganzen Bewegung, von deiner Ausgangsstellung gezählt."

DEFINITIONS = (
    MetricDefinition(
        key="pelvis_turn",
        unit=Unit.DEGREE,
        part=BodyPart.PELVIS_AND_TRUNK,
        greater=AWAY,
        taken=_from_set_up("pelvis"),
        tolerance=TOLERANCE,
        aim=8.0,
        rank=60,
        drawn=Drawn(Mark.HIPS, live=Live(LiveReading.TURN, ("rear_hip", "front_hip"))),
        wording={
            "en": MetricWording(
                "Pelvis turn",
                "Hips turned away from the net",
                "How far your hips turn back, counted from your set-up.",
            ),
            "de": MetricWording(
                "Beckendrehung",
                "Hüfte vom Netz weggedreht",
                "Wie weit sich deine Hüfte zurückdreht, von deiner Ausgangsstellung gezählt.",
            ),
        },
    ),
    MetricDefinition(
        key="pelvis_turn_peak",
        variant_of="pelvis_turn",
        unit=Unit.DEGREE,
        part=BodyPart.PELVIS_AND_TRUNK,
        greater=AWAY,
        taken=_peak("pelvis"),
        tolerance=TOLERANCE,
        wording={
            "en": MetricWording(
                "Pelvis turn, peak", "Hips: furthest turn away from the net", _PEAK_EN
            ),
            "de": MetricWording(
                "Größte Beckendrehung", "Hüfte: größte Drehung vom Netz weg", _PEAK_DE
            ),
        },
    ),
    MetricDefinition(
        key="pelvis_turn_absolute",
        variant_of="pelvis_turn",
        unit=Unit.DEGREE,
        part=BodyPart.PELVIS_AND_TRUNK,
        greater=ABSOLUTE,
        taken=_absolute("pelvis"),
        needs=TARGET,
        tolerance=TOLERANCE,
        wording={
            "en": MetricWording(
                "Pelvis turn against the target", "Hips: position to the net", _ABSOLUTE_EN
            ),
            "de": MetricWording(
                "Beckendrehung gegen das Ziel", "Hüfte: Stellung zum Netz", _ABSOLUTE_DE
            ),
        },
    ),
    MetricDefinition(
        key="shoulder_turn",
        unit=Unit.DEGREE,
        part=BodyPart.PELVIS_AND_TRUNK,
        greater=AWAY,
        taken=_from_set_up("shoulder"),
        tolerance=TOLERANCE,
        aim=8.0,
        rank=70,
        headline=True,
        drawn=Drawn(Mark.SHOULDERS),
        wording={
            "en": MetricWording(
                "Shoulder turn",
                "Shoulders turned away from the net",
                "How far your shoulders turn back, counted from your set-up.",
            ),
            "de": MetricWording(
                "Schulterdrehung",
                "Schultern vom Netz weggedreht",
                "Wie weit sich deine Schultern zurückdrehen, von deiner Ausgangsstellung gezählt.",
            ),
        },
    ),
    MetricDefinition(
        key="shoulder_turn_peak",
        variant_of="shoulder_turn",
        unit=Unit.DEGREE,
        part=BodyPart.PELVIS_AND_TRUNK,
        greater=AWAY,
        taken=_peak("shoulder"),
        tolerance=TOLERANCE,
        wording={
            "en": MetricWording(
                "Shoulder turn, peak", "Shoulders: furthest turn away from the net", _PEAK_EN
            ),
            "de": MetricWording(
                "Größte Schulterdrehung", "Schultern: größte Drehung vom Netz weg", _PEAK_DE
            ),
        },
    ),
    MetricDefinition(
        key="shoulder_turn_absolute",
        variant_of="shoulder_turn",
        unit=Unit.DEGREE,
        part=BodyPart.PELVIS_AND_TRUNK,
        greater=ABSOLUTE,
        taken=_absolute("shoulder"),
        needs=TARGET,
        tolerance=TOLERANCE,
        wording={
            "en": MetricWording(
                "Shoulder turn against the target", "Shoulders: position to the net", _ABSOLUTE_EN
            ),
            "de": MetricWording(
                "Schulterdrehung gegen das Ziel", "Schultern: Stellung zum Netz", _ABSOLUTE_DE
            ),
        },
    ),
    MetricDefinition(
        key="knee_turn",
        unit=Unit.DEGREE,
        part=BodyPart.LEGS_AND_WEIGHT,
        greater=AWAY,
        taken=_from_set_up("knee"),
        tolerance=TOLERANCE,
        drawn=Drawn(Mark.KNEES),
        wording={
            "en": MetricWording(
                "Knee turn",
                "Knees turned away from the net",
                "How far the line through your knees turns back, counted from your set-up.",
            ),
            "de": MetricWording(
                "Drehung der Knielinie",
                "Knie vom Netz weggedreht",
                "Wie weit sich die Linie durch deine Knie zurückdreht, von deiner "
                "Ausgangsstellung gezählt.",
            ),
        },
    ),
    MetricDefinition(
        key="knee_turn_peak",
        variant_of="knee_turn",
        unit=Unit.DEGREE,
        part=BodyPart.LEGS_AND_WEIGHT,
        greater=AWAY,
        taken=_peak("knee"),
        tolerance=TOLERANCE,
        wording={
            "en": MetricWording(
                "Knee turn, peak", "Knees: furthest turn away from the net", _PEAK_EN
            ),
            "de": MetricWording(
                "Größte Drehung der Knielinie", "Knie: größte Drehung vom Netz weg", _PEAK_DE
            ),
        },
    ),
    MetricDefinition(
        key="knee_turn_absolute",
        variant_of="knee_turn",
        unit=Unit.DEGREE,
        part=BodyPart.LEGS_AND_WEIGHT,
        greater=ABSOLUTE,
        taken=_absolute("knee"),
        needs=TARGET,
        tolerance=TOLERANCE,
        wording={
            "en": MetricWording(
                "Knee turn against the target", "Knees: position to the net", _ABSOLUTE_EN
            ),
            "de": MetricWording(
                "Drehung der Knielinie gegen das Ziel", "Knie: Stellung zum Netz", _ABSOLUTE_DE
            ),
        },
    ),
    MetricDefinition(
        key="turn_to_bend_ratio",
        unit=Unit.RATIO,
        part=BodyPart.PELVIS_AND_TRUNK,
        greater="more of a coil; near zero = a squat",
        taken=(
            Taken(
                EventName.LOADING,
                uses=(EventName.SET_UP,),
                parts=(
                    "pelvis_turn@loading",
                    "front_knee_flexion@loading",
                    "rear_knee_flexion@loading",
                ),
                truth=TruthPath("measures.turn_to_bend_ratio.loading"),
            ),
        ),
        tolerance=0.2,
        wording={
            "en": MetricWording(
                "Pelvis turn per knee bend",
                "Hip turn for each degree of knee bend",
                "A high number is a coil, a low number a squat.",
            ),
            "de": MetricWording(
                "Beckendrehung je Kniebeugung",
                "Hüftdrehung je Grad Kniebeugung",
                "Ein hoher Wert ist ein Eindrehen, ein niedriger eine bloße Kniebeuge.",
            ),
        },
    ),
    MetricDefinition(
        key="hip_shoulder_separation",
        unit=Unit.DEGREE,
        part=BodyPart.PELVIS_AND_TRUNK,
        greater=FARTHER,
        taken=(
            Taken(
                EventName.TROPHY,
                reference=SEPARATION,
                truth=TruthPath("metrics.trophy.separation"),
            ),
            Taken(
                EventName.LOADING,
                kinds=LOADED,
                reference=SEPARATION,
                truth=TruthPath("metrics.lowest_pelvis.separation"),
            ),
        ),
        tolerance=TOLERANCE,
        rank=50,
        drawn=Drawn(Mark.SHOULDERS),
        wording={
            "en": MetricWording(
                "Hip-shoulder separation",
                "Shoulders turned further than the hips",
                "The stretch between hips and shoulders.",
            ),
            "de": MetricWording(
                "Verwringung von Schulter und Hüfte",
                "Schultern weiter gedreht als die Hüfte",
                "Die Vorspannung zwischen Hüfte und Schultern.",
            ),
        },
    ),
    MetricDefinition(
        key="hip_shoulder_separation_peak",
        variant_of="hip_shoulder_separation",
        unit=Unit.DEGREE,
        part=BodyPart.PELVIS_AND_TRUNK,
        greater=FARTHER,
        taken=(
            Taken(
                uses=(EventName.RELEASE, EventName.CONTACT),
                reference=SEPARATION,
                truth=TruthPath("measures.hip_shoulder_separation.peak"),
            ),
        ),
        tolerance=TOLERANCE,
        wording={
            "en": MetricWording(
                "Hip-shoulder separation, peak",
                "Most that the shoulders turn further than the hips",
                "The largest stretch between hips and shoulders.",
            ),
            "de": MetricWording(
                "Größte Verwringung von Schulter und Hüfte",
                "Wie weit die Schultern höchstens über die Hüfte hinaus drehen",
                "Die größte Vorspannung zwischen Hüfte und Schultern.",
            ),
        },
    ),
)
