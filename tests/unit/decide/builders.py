"""Small analyses for the decision tests. Values are invented."""

from __future__ import annotations

from models.contract.analysis import Analysis, Event, Metric, Repetition, Scale, ViewEstimate
from models.contract.clip import ClipFacts, Usability
from models.contract.coil import CoilJudgement, CoilVerdict
from models.contract.vocabulary import EventName, Handedness, RepetitionKind, View


def metric(
    key: str,
    value: float | None,
    half: float = 2.0,
    *,
    event: EventName | None = EventName.TROPHY,
    unit: str = "deg",
    reason: str | None = None,
) -> Metric:
    return Metric(
        key=key,
        title=key.replace("_", " "),
        event=event,
        value=value,
        low=None if value is None else value - half,
        high=None if value is None else value + half,
        unit=unit,
        measurable=value is not None,
        reason=reason if value is None else None,
        method="test",
        reference=None,
    )


def repetition(
    *metrics: Metric,
    kind: RepetitionKind = RepetitionKind.SERVE,
    times: dict[EventName, float] | None = None,
) -> Repetition:
    return Repetition(
        kind=kind,
        start_s=0.0,
        end_s=3.0,
        confidence=0.9,
        events={
            name: Event(time_s=t, frame=round(t * 60), uncertainty_s=0.01, confidence=0.9)
            for name, t in (times or {}).items()
        },
        metrics=metrics,
    )


def coil(away: float, bent: float, reason: str | None = None) -> CoilJudgement:
    """A judgement of the coil; undecided where neither is probable."""
    told = {CoilVerdict.TURNED_AWAY: away, CoilVerdict.ONLY_BENT: bent}
    best = max(told, key=lambda verdict: told[verdict])
    return CoilJudgement(
        verdict=best if told[best] >= 0.8 else CoilVerdict.UNDECIDED,
        turned_away=away,
        only_bent=bent,
        not_loaded=round(1.0 - away - bent, 3),
        reason=reason,
    )


def analysis(
    *repetitions: Repetition, view: View = View.SIDE, hand: Handedness = Handedness.RIGHT
) -> Analysis:
    return Analysis(
        clip=ClipFacts(duration_s=3, frame_rate=60, frames=180, width=1280, height=720),
        view=ViewEstimate(label=view),
        handedness=hand,
        scale=Scale(source="given", metres_per_body_height=1.8),
        usability=Usability(usable=True),
        repetitions=repetitions,
        engine_version="test",
    )
