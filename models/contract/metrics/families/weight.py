"""Weight over the feet: share over the rear foot, static and dynamic, and for how long."""

from __future__ import annotations

from models.contract.metrics.definition import (
    HOLDS,
    LOADED,
    BodyPart,
    Drawn,
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
RULE = (
    "At least 0.60 at the most loaded instant: common coaching rule, no source; no published "
    "mean exists. Compare with the static share."
)
TOLERANCE = 0.06
"""Mean absolute error of a share of weight up to which a position of the camera may report it
(working value)."""
MORE = "more weight over the rear foot; 1 = all of it"
LONGER = "longer"
OLDER = "The films of the calibration were made before their truth held it."
SERVES_ONLY = "The films of the calibration hold serves only."

DEFINITIONS = (
    MetricDefinition(
        key="rear_foot_load_share",
        unit=Unit.RATIO,
        part=BodyPart.LEGS_AND_WEIGHT,
        greater=MORE,
        taken=(
            Taken(
                EventName.LOADING,
                kinds=LOADED,
                reference=RULE,
                usual=UsualRange(0.60, None),
                truth=TruthPath("metrics.lowest_pelvis.rear_load_share"),
            ),
        ),
        needs=FEET,
        tolerance=TOLERANCE,
        aim=0.04,
        rank=10,
        percent=True,
        headline=True,
        drawn=Drawn(Mark.BALANCE, at_feet=True),
        wording={
            "en": MetricWording(
                "Weight over the rear foot",
                "Weight over the rear foot",
                "How much of your body weight stands over the back foot.",
                {
                    EventName.LOADING: StandingWords(
                        below="Your weight is not yet over the rear foot when you load",
                        inside="Your weight is over the rear foot when you load",
                        source="common coaching rule; no published limit",
                    )
                },
            ),
            "de": MetricWording(
                "Gewicht über dem hinteren Fuß",
                "Gewicht über dem hinteren Fuß",
                "Wie viel deines Körpergewichts über dem hinteren Fuß steht.",
                {
                    EventName.LOADING: StandingWords(
                        below="Dein Gewicht ist beim Aufladen noch nicht über dem hinteren Fuß",
                        inside="Dein Gewicht ist beim Aufladen über dem hinteren Fuß",
                        source="übliche Trainerregel; kein veröffentlichter Grenzwert",
                    )
                },
            ),
        },
    ),
    MetricDefinition(
        key="rear_foot_load_share_foot_centre",
        variant_of="rear_foot_load_share",
        unit=Unit.RATIO,
        part=BodyPart.LEGS_AND_WEIGHT,
        greater=MORE,
        taken=(
            Taken(
                EventName.LOADING,
                kinds=LOADED,
                reference=RULE,
                truth=TruthPath("measures.rear_foot_load_share.foot_centres"),
            ),
        ),
        needs=FEET,
        tolerance=TOLERANCE,
        percent=True,
        wording={
            "en": MetricWording(
                "Weight over the rear foot (foot centres)",
                "Weight over the rear foot, between the middles of the feet",
                "The same, counted between the middles of the feet and not the ankles.",
            ),
            "de": MetricWording(
                "Gewicht über dem hinteren Fuß (Fußmitten)",
                "Gewicht über dem hinteren Fuß, zwischen den Fußmitten",
                "Dasselbe, zwischen den Mitten der Füße statt der Knöchel gezählt.",
            ),
        },
    ),
    MetricDefinition(
        key="rear_foot_load_share_dynamic",
        variant_of="rear_foot_load_share",
        unit=Unit.RATIO,
        part=BodyPart.LEGS_AND_WEIGHT,
        greater=MORE,
        taken=(Taken(EventName.LOADING, truth=TruthPath("measures.rear_foot_load_share.dynamic")),),
        needs=FEET,
        tolerance=0.12,
        percent=True,
        drawn=Drawn(Mark.BALANCE),
        wording={
            "en": MetricWording(
                "Weight over the rear foot (dynamic)",
                "Weight over the rear foot, with movement",
                "The balance point corrected for your movement.",
            ),
            "de": MetricWording(
                "Gewicht über dem hinteren Fuß (dynamisch)",
                "Gewicht über dem hinteren Fuß, mit Bewegung",
                "Der Gleichgewichtspunkt, um deine Bewegung berichtigt.",
            ),
        },
    ),
    MetricDefinition(
        key="rear_foot_load_share_peak",
        variant_of="rear_foot_load_share",
        unit=Unit.RATIO,
        part=BodyPart.LEGS_AND_WEIGHT,
        greater=MORE,
        taken=(
            Taken(
                uses=(EventName.RELEASE, EventName.LOADING),
                reference=RULE,
                truth=TruthPath("measures.rear_foot_load_share.peak"),
                no_calibration=OLDER,
            ),
        ),
        needs=FEET,
        tolerance=TOLERANCE,
        percent=True,
        wording={
            "en": MetricWording(
                "Weight over the rear foot, peak",
                "Most weight over the rear foot",
                "The most of the whole loading.",
            ),
            "de": MetricWording(
                "Größtes Gewicht über dem hinteren Fuß",
                "Meistes Gewicht über dem hinteren Fuß",
                "Der größte Wert des ganzen Aufladens.",
            ),
        },
    ),
    MetricDefinition(
        key="most_loaded_before_contact",
        unit=Unit.SECOND,
        part=BodyPart.LEGS_AND_WEIGHT,
        greater="earlier before contact",
        taken=(
            Taken(
                uses=(EventName.RELEASE, EventName.LOADING, EventName.CONTACT),
                truth=TruthPath("measures.most_loaded_before_contact.whole"),
                no_calibration=OLDER,
            ),
        ),
        needs=FEET,
        wording={
            "en": MetricWording(
                "Most rear-loaded instant before contact",
                "Most weight on the rear foot, before contact",
                "How long before contact the most weight is over the rear foot.",
            ),
            "de": MetricWording(
                "Zeit vom meisten Gewicht hinten bis zum Treffpunkt",
                "Meistes Gewicht auf dem hinteren Fuß, vor dem Treffpunkt",
                "Wie lange vor dem Treffpunkt das meiste Gewicht über dem hinteren Fuß ist.",
            ),
        },
    ),
    MetricDefinition(
        key="rear_load_time_60",
        unit=Unit.SECOND,
        part=BodyPart.LEGS_AND_WEIGHT,
        greater=LONGER,
        taken=(
            Taken(
                uses=(EventName.SET_UP, EventName.LOADING),
                reference=RULE,
                truth=TruthPath("measures.rear_load_time_60.whole"),
                no_calibration=OLDER,
            ),
        ),
        needs=FEET,
        tolerance=0.3,
        lowest=0.0,
        wording={
            "en": MetricWording(
                "Time at or above 60 % over the rear foot",
                "Time with 60 % or more over the rear foot",
            ),
            "de": MetricWording(
                "Zeit mit mindestens 60 % über dem hinteren Fuß",
                "Zeit mit 60 % oder mehr über dem hinteren Fuß",
            ),
        },
    ),
    MetricDefinition(
        key="hold_rear_load_time_60",
        unit=Unit.SECOND,
        part=BodyPart.LEGS_AND_WEIGHT,
        greater=LONGER,
        taken=(
            Taken(
                kinds=HOLDS,
                uses=(EventName.SET_UP, EventName.FINISH),
                reference=RULE,
                truth=TruthPath("measures.hold_rear_load_time_60.whole"),
                no_calibration=SERVES_ONLY,
            ),
        ),
        needs=FEET,
        lowest=0.0,
        wording={
            "en": MetricWording(
                "Hold: time at or above 60 % over the rear foot",
                "Held with 60 % or more over the rear foot",
            ),
            "de": MetricWording(
                "Halten: Zeit mit mindestens 60 % über dem hinteren Fuß",
                "Gehalten mit 60 % oder mehr über dem hinteren Fuß",
            ),
        },
    ),
    MetricDefinition(
        key="hold_rear_foot_load_share",
        unit=Unit.RATIO,
        part=BodyPart.LEGS_AND_WEIGHT,
        greater=MORE,
        taken=(
            Taken(
                kinds=HOLDS,
                uses=(EventName.SET_UP, EventName.FINISH),
                reference=RULE,
                truth=TruthPath("measures.hold_rear_foot_load_share.whole"),
                no_calibration=SERVES_ONLY,
            ),
        ),
        needs=FEET,
        tolerance=TOLERANCE,
        percent=True,
        wording={
            "en": MetricWording(
                "Hold: mean weight over the rear foot",
                "Weight over the rear foot during the hold",
                "The mean of the whole hold.",
            ),
            "de": MetricWording(
                "Halten: mittleres Gewicht über dem hinteren Fuß",
                "Gewicht über dem hinteren Fuß während des Haltens",
                "Das Mittel über das ganze Halten.",
            ),
        },
    ),
    MetricDefinition(
        key="hold_duration",
        unit=Unit.SECOND,
        part=BodyPart.TIMING,
        greater=LONGER,
        taken=(
            Taken(
                kinds=HOLDS,
                uses=(EventName.SET_UP, EventName.FINISH),
                truth=TruthPath("measures.hold_duration.whole"),
                no_calibration=SERVES_ONLY,
            ),
        ),
        lowest=0.0,
        wording={
            "en": MetricWording(
                "Hold: duration", "How long the position is held", "Time without movement."
            ),
            "de": MetricWording(
                "Halten: Dauer", "Wie lange die Stellung gehalten wird", "Zeit ohne Bewegung."
            ),
        },
    ),
)
