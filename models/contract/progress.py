"""Progress of one player over sessions: did the change stick?"""

from __future__ import annotations

from datetime import date, datetime
from enum import StrEnum
from typing import Annotated, Final, Literal

from pydantic import AwareDatetime, Field

from models.contract.analysis import CAUTIONS
from models.contract.base import SCHEMA_BASE, Document, Finite, or_earlier
from models.contract.comparison import Direction, MetricName, Verdict
from models.contract.note import Note
from models.contract.session_values import SessionValues
from models.contract.vocabulary import EventName, RepetitionKind

SCHEMA_ID: Final = "https://servewright.example/schemas/progress.v3.json"
SCHEMA_ID_V1: Final = SCHEMA_BASE + "progress.v1.json"
SCHEMA_ID_V2: Final = SCHEMA_BASE + "progress.v2.json"


class SessionKind(StrEnum):
    """Why the player was filmed (terms of motor-learning research)."""

    BASELINE = "baseline"
    ACQUISITION = "acquisition"
    RETENTION = "retention"
    TRANSFER = "transfer"


class RetentionVerdict(StrEnum):
    """What the delayed test says of the gain."""

    HELD = "held"
    PARTLY_HELD = "partly_held"
    LOST = "lost"
    TOO_EARLY = "too_early_to_tell"
    NO_GAIN = "no_measurable_gain"
    UNCLEAR = "unclear"


class SessionPoint(Document):
    """One session's mean of one metric, with its 95 % interval."""

    session: str
    kind: SessionKind
    at: AwareDatetime
    value: Finite
    low: Finite
    high: Finite
    repetitions: int = Field(ge=1)


class RetentionScore(Document):
    """(retention - baseline) / (acquisition - baseline) with its 95 % interval; 1 = all kept."""

    value: Finite
    low: Finite
    high: Finite
    delay_hours: Finite = Field(description="From the last practice to the retention test.")


class MetricProgress(Document):
    """One metric over sessions."""

    key: str
    title: str
    event: EventName | None
    unit: str
    series: tuple[SessionPoint, ...]
    gain: Finite | None = Field(description="Acquisition minus baseline.")
    gain_mdc95: Finite | None = Field(
        description="Least gain that is probably a change: beyond this value's own noise, 95 %."
    )
    gain_threshold: Finite | None = Field(
        default=None,
        description="Least gain that is surely a change, with the correction for many metrics: it "
        "decides. Null where nothing can be told, and before `progress.v3.json`.",
    )
    gain_detectable: Finite | None = Field(
        default=None, description="As `detectable` of a comparison, of the gain."
    )
    gain_verdict: Verdict | None = Field(
        default=None, description="As in a comparison; null without a baseline or practice."
    )
    direction: Direction | None = Field(
        default=None, description="Of a sure or probable gain, by the goal of the rules."
    )
    focus: bool = Field(default=False, description="It was named as what was worked on.")
    retention: RetentionScore | None
    transfer: RetentionScore | None = None
    verdict: RetentionVerdict
    reason: Note


class NextCheck(Document):
    """When to film next, and why."""

    kind: SessionKind
    not_before: datetime
    not_after: datetime
    reason: Note


class Relapse(Document):
    """What had been gained and has not held; a new cycle of practice starts."""

    metrics: tuple[MetricName, ...] = Field(min_length=1)
    found_at: AwareDatetime = Field(description="When the test was filmed that shows it.")
    cycle: int | None = Field(
        default=None,
        ge=2,
        description="Number of the cycle that starts. Null in earlier documents.",
    )
    starts_at: AwareDatetime | None = Field(
        default=None,
        description="When it starts: with the test, or now where little of its time is left. Null "
        "in earlier documents.",
    )
    practise_until: AwareDatetime
    check: NextCheck = Field(description="The retention check of the new cycle.")


class PracticeWeek(Document):
    """Repetitions of one kind in one week, by practice films."""

    week: date | None = Field(description="Its Monday; null = the total.")
    kind: RepetitionKind
    planned: int | None = Field(
        default=None,
        ge=0,
        description="By the doses of the rules, also for weeks between two weeks of practice in "
        "which nothing was filmed; null where they have none, or several drills of that kind and "
        "the session does not say which.",
    )
    filmed: int = Field(ge=0)
    judged: int | None = Field(
        default=None, ge=0, description="Of these, measured by every criterion of the drill."
    )
    good: int | None = Field(
        default=None, ge=0, description="Of these, with values that meet every criterion."
    )


class SessionFromPlaces(Document):
    """A session that was filmed from several places, one value a metric."""

    session: str
    kind: SessionKind
    at: AwareDatetime
    values: SessionValues


class Progress(Document):
    """The sessions of one player, metric by metric."""

    schema_id: Annotated[
        Literal["https://servewright.example/schemas/progress.v3.json"],
        or_earlier(SCHEMA_ID, SCHEMA_ID_V1, SCHEMA_ID_V2),
    ] = Field(
        default=SCHEMA_ID,
        alias="schema",
        description="Says the version. In documents of `progress.v1.json` "
        "reasons, notes and cautions are bare sentences; before `progress.v3.json` a share kept "
        "whose interval includes nothing could be called partly held.",
    )
    player: str
    focus: tuple[MetricName, ...] = Field(
        default=(), description="What was worked on, as it was named in the request."
    )
    answer: Note | None = Field(
        default=None,
        description="Does it hold after days, and in a match? In one sentence. Null before "
        "`progress.v3.json`.",
    )
    cycle: int = Field(
        default=1, ge=1, description="Number of the cycle: practice after a check starts the next."
    )
    cycle_since: AwareDatetime | None = Field(
        default=None, description="First practice of this cycle."
    )
    after_relapse: bool = Field(
        default=False, description="This cycle was started by a relapse that the one before showed."
    )
    relapse: Relapse | None = None
    weeks: tuple[PracticeWeek, ...] = ()
    total: tuple[PracticeWeek, ...] = ()
    metrics: tuple[MetricProgress, ...]
    sessions: tuple[SessionFromPlaces, ...] = Field(
        default=(),
        description="The sessions whose serves were filmed from several places in turn: what each "
        "place says of a metric, how the places were combined, and whether they agree. The series "
        "hold the combined values.",
    )
    repetitions_practised: dict[RepetitionKind, int]
    next_check: NextCheck | None
    notes: tuple[Note, ...] = ()
    cautions: tuple[Note, ...] = CAUTIONS
