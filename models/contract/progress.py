"""Progress of one player over sessions: did the change stick?"""

from __future__ import annotations

from datetime import datetime
from enum import StrEnum
from typing import Annotated, Final, Literal

from pydantic import AwareDatetime, Field

from models.contract.analysis import CAUTIONS
from models.contract.base import SCHEMA_BASE, Document, Finite, or_earlier
from models.contract.note import Note
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
    gain_mdc95: Finite | None
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


class Progress(Document):
    """The sessions of one player, metric by metric."""

    schema_id: Annotated[
        Literal["https://servewright.example/schemas/progress.v3.json"],
        or_earlier(SCHEMA_ID, SCHEMA_ID_V1, SCHEMA_ID_V2),
    ] = Field(
        default=SCHEMA_ID,
        alias="schema",
        description="Says the version. In documents of `progress.v1.json` "
        "reasons, notes and cautions are bare sentences.",
    )
    player: str
    metrics: tuple[MetricProgress, ...]
    repetitions_practised: dict[RepetitionKind, int]
    next_check: NextCheck | None
    notes: tuple[Note, ...] = ()
    cautions: tuple[Note, ...] = CAUTIONS
