"""Wrist speed and the order of peak speeds from pelvis to forearm (the kinematic sequence)."""

from __future__ import annotations

from models.contract.metrics.definition import (
    SWINGS,
    BodyPart,
    MetricDefinition,
    MetricWording,
    Need,
    Taken,
)
from models.contract.metrics.truth import TruthDifference, TruthPath
from models.contract.metrics.units import Unit
from models.contract.vocabulary import EventName, RepetitionKind

FAST = frozenset({Need.FAST})
MIN_FPS = 100.0
"""Frames per second from which times of fastest movement are told apart (working value)."""
BALL_FPS = 60.0
"""Frames per second from which a served ball is seen whole more than once (working value)."""
DRIVE = (EventName.LOADING, EventName.CONTACT)
LATER = "later; negative = before contact"
GAP = "the second part later; negative = the order is reversed"
_BEFORE_EN = "Milliseconds from contact; below zero is before it."
_BEFORE_DE = "Millisekunden vom Treffpunkt an; unter null heißt davor."
_GAP_EN = "Gap between the two; below zero the order is reversed."
_GAP_DE = "Abstand der beiden; unter null ist die Reihenfolge umgekehrt."


def _fastest(part: str, reference: str | None = None) -> tuple[Taken]:
    truth = TruthPath(f"measures.sequence.{part}_time_s", 1e3)
    return (Taken(uses=DRIVE, reference=reference, truth=truth),)


def _gap(first: str, second: str) -> tuple[Taken]:
    return (
        Taken(
            uses=DRIVE,
            parts=(f"sequence_{first}", f"sequence_{second}"),
            truth=TruthDifference(f"sequence_{second}", f"sequence_{first}"),
            no_calibration="The table is older than the reading of its truth.",
        ),
    )


DEFINITIONS = (
    MetricDefinition(
        key="ball_speed",
        unit=Unit.METRE_PER_SECOND,
        part=BodyPart.BALL_AND_CONTACT,
        greater="faster",
        taken=(
            Taken(
                EventName.CONTACT,
                kinds=frozenset({RepetitionKind.SERVE}),
                truth=TruthPath("measures.ball_speed.contact"),
                no_calibration="Its interval comes from the flight itself; its error has a table "
                "of its own (ball_speed.md).",
            ),
        ),
        needs=frozenset({Need.BALL, Need.STATURE, Need.TARGET}),
        min_fps=BALL_FPS,
        lowest=0.0,
        wording={
            "en": MetricWording(
                "Ball speed just after contact",
                "How fast the ball leaves the racket",
                "Read from the film, no radar; ten metres a second are 36 km/h.",
            ),
            "de": MetricWording(
                "Ballgeschwindigkeit gleich nach dem Treffpunkt",
                "Wie schnell der Ball den Schläger verlässt",
                "Aus dem Film gelesen, kein Radar; zehn Meter je Sekunde sind 36 km/h.",
            ),
        },
    ),
    MetricDefinition(
        key="wrist_speed_peak",
        unit=Unit.METRE_PER_SECOND,
        part=BodyPart.ARMS,
        greater="faster",
        taken=(
            Taken(
                kinds=SWINGS,
                uses=(EventName.CONTACT,),
                truth=TruthPath("measures.wrist_speed_peak.peak"),
            ),
        ),
        needs=frozenset({Need.FAST, Need.STATURE}),
        min_fps=MIN_FPS,
        tolerance=2.5,
        wording={
            "en": MetricWording(
                "Hitting wrist speed, peak",
                "Fastest speed of the hitting wrist",
                "The frame rate of the film limits this.",
            ),
            "de": MetricWording(
                "Größte Geschwindigkeit des Schlaghandgelenks",
                "Größte Geschwindigkeit des Schlaghandgelenks",
                "Die Bildrate des Films begrenzt diesen Wert.",
            ),
        },
    ),
    MetricDefinition(
        key="sequence_pelvis",
        unit=Unit.MILLISECOND,
        part=BodyPart.TIMING,
        greater=LATER,
        taken=_fastest("pelvis"),
        needs=FAST,
        min_fps=MIN_FPS,
        wording={
            "en": MetricWording("Pelvis fastest, before contact", "Hips fastest", _BEFORE_EN),
            "de": MetricWording(
                "Becken am schnellsten, vor dem Treffpunkt", "Hüfte am schnellsten", _BEFORE_DE
            ),
        },
    ),
    MetricDefinition(
        key="sequence_trunk",
        unit=Unit.MILLISECOND,
        part=BodyPart.TIMING,
        greater=LATER,
        taken=_fastest(
            "trunk",
            "Peak upper-torso rotation 58 ms (men) and 75 ms (women) before impact (Sports "
            "Biomech 2003, 2(1):51-64).",
        ),
        needs=FAST,
        min_fps=MIN_FPS,
        wording={
            "en": MetricWording("Trunk fastest, before contact", "Trunk fastest", _BEFORE_EN),
            "de": MetricWording(
                "Rumpf am schnellsten, vor dem Treffpunkt", "Rumpf am schnellsten", _BEFORE_DE
            ),
        },
    ),
    MetricDefinition(
        key="sequence_upper_arm",
        unit=Unit.MILLISECOND,
        part=BodyPart.TIMING,
        greater=LATER,
        taken=_fastest("upper_arm"),
        needs=FAST,
        min_fps=MIN_FPS,
        wording={
            "en": MetricWording(
                "Upper arm fastest, before contact", "Upper arm fastest", _BEFORE_EN
            ),
            "de": MetricWording(
                "Oberarm am schnellsten, vor dem Treffpunkt", "Oberarm am schnellsten", _BEFORE_DE
            ),
        },
    ),
    MetricDefinition(
        key="sequence_forearm",
        unit=Unit.MILLISECOND,
        part=BodyPart.TIMING,
        greater=LATER,
        taken=_fastest("forearm"),
        needs=FAST,
        min_fps=MIN_FPS,
        wording={
            "en": MetricWording("Forearm fastest, before contact", "Forearm fastest", _BEFORE_EN),
            "de": MetricWording(
                "Unterarm am schnellsten, vor dem Treffpunkt",
                "Unterarm am schnellsten",
                _BEFORE_DE,
            ),
        },
    ),
    MetricDefinition(
        key="sequence_gap_pelvis_trunk",
        unit=Unit.MILLISECOND,
        part=BodyPart.TIMING,
        greater=GAP,
        taken=_gap("pelvis", "trunk"),
        needs=FAST,
        min_fps=MIN_FPS,
        wording={
            "en": MetricWording("Pelvis to trunk", "Hips first, then trunk", _GAP_EN),
            "de": MetricWording("Becken bis Rumpf", "Erst Hüfte, dann Rumpf", _GAP_DE),
        },
    ),
    MetricDefinition(
        key="sequence_gap_trunk_upper_arm",
        unit=Unit.MILLISECOND,
        part=BodyPart.TIMING,
        greater=GAP,
        taken=_gap("trunk", "upper_arm"),
        needs=FAST,
        min_fps=MIN_FPS,
        wording={
            "en": MetricWording("Trunk to upper arm", "Trunk first, then upper arm", _GAP_EN),
            "de": MetricWording("Rumpf bis Oberarm", "Erst Rumpf, dann Oberarm", _GAP_DE),
        },
    ),
    MetricDefinition(
        key="sequence_gap_upper_arm_forearm",
        unit=Unit.MILLISECOND,
        part=BodyPart.TIMING,
        greater=GAP,
        taken=_gap("upper_arm", "forearm"),
        needs=FAST,
        min_fps=MIN_FPS,
        wording={
            "en": MetricWording("Upper arm to forearm", "Upper arm first, then forearm", _GAP_EN),
            "de": MetricWording("Oberarm bis Unterarm", "Erst Oberarm, dann Unterarm", _GAP_DE),
        },
    ),
    MetricDefinition(
        key="sequence_proximal_to_distal",
        unit=Unit.RATIO,
        part=BodyPart.TIMING,
        greater="in order; 1 = yes, 0 = no",
        taken=(
            Taken(
                uses=DRIVE,
                reference="Energy peaks run from proximal to distal (2 top players, 2009), yet "
                "peak pelvis rotation came after the upper torso in 20 world-class players "
                "(Sports Biomech 2003, 2(1):51-64): do not fail a serve on this.",
                truth=TruthPath("measures.sequence.proximal_to_distal"),
                no_calibration="1 or 0: right or wrong, with no bias to take out.",
            ),
        ),
        needs=FAST,
        min_fps=MIN_FPS,
        lowest=0.0,
        highest=1.0,
        percent=True,
        yes_no=True,
        wording={
            "en": MetricWording(
                "Peak speeds in proximal-to-distal order",
                "In order from hips to forearm",
                "Hips, trunk, upper arm, forearm fastest one after the other: 100 % is yes, "
                "0 % is no.",
            ),
            "de": MetricWording(
                "Höchstgeschwindigkeiten von körpernah nach körperfern",
                "Der Reihe nach von der Hüfte zum Unterarm",
                "Hüfte, Rumpf, Oberarm, Unterarm nacheinander am schnellsten: 100 % heißt ja, "
                "0 % nein.",
            ),
        },
    ),
    MetricDefinition(
        key="pelvis_rotation_speed_peak",
        unit=Unit.DEGREE_PER_SECOND,
        part=BodyPart.PELVIS_AND_TRUNK,
        greater="faster toward the target",
        taken=(
            Taken(
                uses=DRIVE,
                reference="440 deg/s, world-class players (Sports Biomech 2003, 2(1):51-64).",
                truth=TruthPath("measures.sequence.pelvis_peak_deg_s"),
            ),
        ),
        needs=FAST,
        min_fps=MIN_FPS,
        wording={
            "en": MetricWording("Pelvis rotation speed, peak", "Hips: fastest turning"),
            "de": MetricWording(
                "Größte Drehgeschwindigkeit des Beckens", "Hüfte: schnellste Drehung"
            ),
        },
    ),
    MetricDefinition(
        key="trunk_rotation_speed_peak",
        unit=Unit.DEGREE_PER_SECOND,
        part=BodyPart.PELVIS_AND_TRUNK,
        greater="faster toward the target",
        taken=(
            Taken(
                uses=DRIVE,
                reference="870 deg/s, world-class players (Sports Biomech 2003, 2(1):51-64).",
                truth=TruthPath("measures.sequence.trunk_peak_deg_s"),
            ),
        ),
        needs=FAST,
        min_fps=MIN_FPS,
        wording={
            "en": MetricWording("Upper-torso rotation speed, peak", "Shoulders: fastest turning"),
            "de": MetricWording(
                "Größte Drehgeschwindigkeit des Oberkörpers", "Schultern: schnellste Drehung"
            ),
        },
    ),
)
