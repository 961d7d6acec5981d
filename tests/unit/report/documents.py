"""Small comparison, progress and plan documents for the page tests. Values are invented."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from models.contract.analysis import CAUTIONS
from models.contract.comparison import (
    Comparison,
    ComparisonSide,
    GroupSummary,
    LinkedChange,
    MatchedEvent,
    MetricDifference,
    Verdict,
)
from models.contract.note import note
from models.contract.note_codes import NoteCode
from models.contract.plan import (
    Criterion,
    Dose,
    Drill,
    FilmAdvice,
    Finding,
    PlanStep,
    PracticePlan,
    RankedFinding,
)
from models.contract.progress import (
    MetricProgress,
    NextCheck,
    Progress,
    RetentionScore,
    RetentionVerdict,
    SessionKind,
    SessionPoint,
)
from models.contract.session_values import (
    FilmedPlace,
    PlaceValue,
    SessionValue,
    SessionValues,
)
from models.contract.vocabulary import EventName, Handedness, RepetitionKind, View


def plan() -> PracticePlan:
    drill = Drill(
        id="hold",
        stage=RepetitionKind.HOLD,
        title="Static hold",
        cue="Sit back over the rear foot.",
        dose=Dose(sets=3, repetitions=5, hold_s=3, rest_s=30, days_per_week=3),
        film=FilmAdvice(views=(View.SIDE,), frame_rate=30, show="Film three holds from the side."),
        advance_when=(
            Criterion.model_validate(
                {"metric": "rear_foot_load_share", "is": ">=", "value": 0.6, "unit": "1",
                 "repetitions": 3}
            ),
        ),
    )  # fmt: skip
    finding = Finding.model_validate(
        {"id": "weight_forward", "metric": "rear_foot_load_share", "event": "loading",
         "is": "<=", "value": 0.6, "unit": "1", "scale": 0.1,
         "text": "Too little weight over the rear foot.", "source": "common practice, no source",
         "drills": ["hold"]}
    )  # fmt: skip
    return PracticePlan(
        rules="Rules 1",
        focus=RankedFinding(
            finding=finding, value=0.434, low=0.374, high=0.494, certainty=0.999, effect=1.7
        ),
        steps=(PlanStep(drill=drill, state="next"),),
        not_judged=(
            note(
                NoteCode.FINDING_NOT_JUDGED,
                finding="contact_low",
                reason=note(NoteCode.NOT_MEASURED_IN_CLIPS),
            ),
        ),
        cautions=(*CAUTIONS, "Warm up first."),
    )


def difference(
    key: str,
    event: EventName | None,
    unit: str,
    first: float | None,
    second: float | None,
    half: float,
    mdc: float,
    verdict: Verdict,
    reason: str | None = None,
) -> MetricDifference:
    def side(value: float | None) -> GroupSummary | None:
        if value is None:
            return None
        return GroupSummary(value=value, low=value - half, high=value + half, repetitions=5)

    both = None if first is None or second is None else second - first
    return MetricDifference(
        key=key, title=key, event=event, unit=unit, first=side(first), second=side(second),
        difference=both, low=None if both is None else both - 1.4 * half,
        high=None if both is None else both + 1.4 * half,
        typical_error=mdc / 2.772, mdc95=mdc, verdict=verdict, reason=reason,
    )  # fmt: skip


def comparison(*, changed: bool = True, mirrored: bool = False) -> Comparison:
    far = Verdict.SURELY_CHANGED if changed else Verdict.NO_CHANGE_SEEN
    gain = 1.0 if changed else 0.1
    return Comparison(
        kind=RepetitionKind.SERVE,
        first=ComparisonSide(
            label="Before, 6 May", analyses=("a1",), repetitions=5, views=(View.SIDE,),
            handedness=Handedness.RIGHT, frame_rate_low=60,
        ),
        second=ComparisonSide(
            label="After, 13 May", analyses=("a2",), repetitions=4, views=(View.REAR_QUARTER,),
            handedness=Handedness.LEFT if mirrored else Handedness.RIGHT, frame_rate_low=60,
        ),
        mirrored=mirrored,
        differences=(
            difference("rear_foot_load_share", EventName.LOADING, "1", 0.43, 0.43 + 0.2 * gain,
                       0.05, 0.09, far),
            difference("pelvis_turn", EventName.LOADING, "deg", 23, 23 + 12 * gain, 4, 7, far),
            difference("front_knee_flexion", EventName.TROPHY, "deg", 74, 72, 3, 5,
                       Verdict.NO_CHANGE_SEEN),
            difference("trunk_inclination", EventName.TROPHY, "deg", 20, 20 - 9 * gain, 2, 4, far),
            difference("shoulder_line_tilt", EventName.CONTACT, "deg", -42, None, 4, 7,
                       Verdict.CANNOT_TELL, "the second film does not show it"),
            difference("tempo", None, "s", 0.47, 0.48, 0.02, 0.04, Verdict.NO_CHANGE_SEEN),
        ),
        linked=(
            LinkedChange(part="legs_and_weight", keys=("rear_foot_load_share", "pelvis_turn"),
                         correlation=0.62),
        ) if changed else (),
        matched_events=(
            MatchedEvent(event=EventName.TROPHY, first_time_s=1.7, second_time_s=1.69),
        ),
        notes=("The two films were taken from different views.",),
        engine_version="0.1.0",
    )  # fmt: skip


START = datetime(2026, 5, 6, 17, 0, tzinfo=UTC)


def _series(*rows: tuple[SessionKind, float, float, float]) -> tuple[SessionPoint, ...]:
    return tuple(
        SessionPoint(
            session=f"s{i}", kind=kind, at=START + timedelta(days=day), value=value,
            low=value - half, high=value + half, repetitions=5,
        )
        for i, (kind, day, value, half) in enumerate(rows)
    )  # fmt: skip


def progress() -> Progress:
    kinds = (
        SessionKind.BASELINE,
        SessionKind.ACQUISITION,
        SessionKind.RETENTION,
        SessionKind.TRANSFER,
    )
    days = (0, 0.05, 7, 12)

    def of(*values: float, half: float) -> tuple[SessionPoint, ...]:
        return _series(*((k, d, v, half) for k, d, v in zip(kinds, days, values, strict=False)))

    return Progress(
        player="Mira Tolland",
        metrics=(
            MetricProgress(
                key="rear_foot_load_share", title="Load share", event=EventName.LOADING, unit="1",
                series=of(0.43, 0.63, 0.58, 0.52, half=0.04), gain=0.20, gain_mdc95=0.08,
                retention=RetentionScore(value=0.75, low=0.55, high=0.96, delay_hours=167),
                transfer=RetentionScore(value=0.45, low=0.2, high=0.7, delay_hours=287),
                verdict=RetentionVerdict.PARTLY_HELD,
                reason="More than half of the gain is left, not all of it.",
            ),
            MetricProgress(
                key="front_knee_flexion", title="Knee", event=EventName.TROPHY, unit="deg",
                series=of(52, 66, 66.5, half=4), gain=14, gain_mdc95=6,
                retention=RetentionScore(value=1.04, low=0.7, high=1.4, delay_hours=167),
                verdict=RetentionVerdict.HELD, reason="All of the gain is left.",
            ),
            MetricProgress(
                key="tempo", title="Tempo", event=None, unit="s",
                series=of(0.47, 0.48, half=0.02), gain=0.01, gain_mdc95=0.04, retention=None,
                verdict=RetentionVerdict.NO_GAIN, reason="The change is smaller than its noise.",
            ),
        ),
        repetitions_practised={RepetitionKind.HOLD: 15, RepetitionKind.SHADOW: 24},
        next_check=NextCheck(
            kind=SessionKind.RETENTION,
            not_before=START + timedelta(days=14),
            not_after=START + timedelta(days=21),
            reason="A week without coaching shows what is left.",
        ),
        notes=("The first three serves of a session are counted apart: warming up.",),
    )  # fmt: skip


def _said(place: int, value: float, half: float, weight: float) -> PlaceValue:
    return PlaceValue(
        place=place, value=value, low=value - half, high=value + half, repetitions=3, weight=weight
    )


def session_values(*, agree: bool = True, places: int = 2) -> SessionValues:
    """Three serves from the side, three from the front quarter; the knee of each place alone."""
    sides = (
        FilmedPlace(view=View.SIDE, azimuth_deg=91.0, analyses=("ana_1",), repetitions=3),
        FilmedPlace(view=View.FRONT_QUARTER, azimuth_deg=46.0, analyses=("ana_2",), repetitions=3),
    )
    knees = (_said(1, 62.0, 6.0, 0.7), _said(2, 58.0 if agree else 31.0, 9.0, 0.3))[:places]
    notes = [] if agree else [note(NoteCode.PLACES_DISAGREE, names=("front_knee_flexion",))]
    if places == 1:
        notes.append(note(NoteCode.SESSION_ONE_PLACE))
    return SessionValues(
        kind=RepetitionKind.SERVE,
        places=sides[:places],
        values=(
            SessionValue(
                key="front_knee_flexion", title="Front knee flexion", event=EventName.TROPHY,
                unit="deg", value=60.8, low=54.0, high=67.6, repetitions=3 * places, places=knees,
                agree=None if places == 1 else agree,
            ),
            SessionValue(
                key="rear_foot_load_share", title="Load share", event=EventName.LOADING, unit="1",
                value=0.44, low=0.36, high=0.52, repetitions=3,
                places=(_said(1, 0.44, 0.08, 1.0),),
            ),
            SessionValue(
                key="elbow_flexion", title="Elbow", event=EventName.CONTACT, unit="deg",
                value=None, low=None, high=None, repetitions=0,
                reason=note(NoteCode.VIEW_NOT_RELIABLE, view="side", better="behind"),
            ),
        ),
        notes=tuple(notes),
        engine_version="test",
    )  # fmt: skip
