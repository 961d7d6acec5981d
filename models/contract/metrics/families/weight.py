"""Weight over the feet by posture, the load on them by movement, and for how long.

Two readings of one movement. By posture: where the centre of mass lies between the feet, right for
what is held. By movement: where the force of the floor acts; people who walk over force plates
show that a moving body's posture follows a fifth of the true change of load, the movement eight
tenths (`infra/accuracy/real.md`). Rules for serves ask for the second and take the first where a
film does not support it.
"""

from __future__ import annotations

from models.contract.metrics.definition import (
    HOLDS,
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
RULE = (
    "At least 0.60 at the most loaded instant: common coaching rule, no source; no published "
    "mean exists. Compare with the static share."
)
FORCE_FPS = 25.0
"""Frame rate below which a quartic over 0.4 s leaves fewer than twice as many frames as unknowns
(working value)."""
FORCE_SD = 0.10
"""Standard uncertainty of a load by movement beyond which a film does not support it: about the
error of the share by posture while a body moves, over three (working value)."""
TOLERANCE = 0.06
"""Mean absolute error of a share of weight up to which a position of the camera may report it
(working value)."""
MORE = "more weight over the rear foot; 1 = all of it"
LONGER = "longer"
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
                truth=TruthPath("measures.weight_over_rear_foot.loading"),
            ),
        ),
        needs=FEET,
        tolerance=TOLERANCE,
        aim=0.04,
        rank=10,
        percent=True,
        headline=True,
        drawn=Drawn(
            Mark.BALANCE,
            at_feet=True,
            live=Live(LiveReading.SHARE, ("rear_heel", "rear_toe", "front_heel", "front_toe")),
        ),
        wording={
            "en": MetricWording(
                "Weight over the rear foot, by posture",
                "Weight over the rear foot",
                "How much of your body weight stands over the back foot, by your posture.",
                {
                    EventName.LOADING: StandingWords(
                        below="Your weight is not yet over the rear foot when you load",
                        inside="Your weight is over the rear foot when you load",
                        source="common coaching rule; no published limit",
                    )
                },
            ),
            "de": MetricWording(
                "Gewicht über dem hinteren Fuß nach der Haltung",
                "Gewicht über dem hinteren Fuß",
                "Wie viel deines Körpergewichts nach deiner Haltung über dem hinteren Fuß steht.",
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
        key="rear_foot_load_share_dynamic",
        variant_of="rear_foot_load_share",
        unit=Unit.RATIO,
        part=BodyPart.LEGS_AND_WEIGHT,
        greater=MORE,
        taken=(
            Taken(
                EventName.LOADING,
                truth=TruthPath("measures.load_on_rear_foot.loading"),
            ),
        ),
        needs=FEET,
        min_fps=FORCE_FPS,
        tolerance=0.12,
        widest=FORCE_SD,
        percent=True,
        drawn=Drawn(Mark.BALANCE),
        wording={
            "en": MetricWording(
                "Load on the rear foot, by movement",
                "Load on the rear foot",
                "How much of the floor's push the back foot takes, from how your body moves.",
            ),
            "de": MetricWording(
                "Belastung des hinteren Fußes nach der Bewegung",
                "Belastung des hinteren Fußes",
                "Wie viel vom Druck des Bodens der hintere Fuß trägt, aus der Bewegung.",
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
                truth=TruthPath("measures.weight_over_rear_foot.peak"),
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
                truth=TruthPath("measures.weight_over_rear_foot.most_loaded_before_contact"),
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
                truth=TruthPath("measures.weight_over_rear_foot.time_60"),
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
                truth=TruthPath("measures.weight_over_rear_foot.hold_time_60"),
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
                truth=TruthPath("measures.weight_over_rear_foot.hold"),
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
