"""Comparison of two groups of repetitions: before/after, player/model, practice/match."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated, Final, Literal

from pydantic import Field, StringConstraints

from models.contract.analysis import CAUTIONS
from models.contract.base import SCHEMA_BASE, Document, Finite, Share, or_earlier
from models.contract.metrics.definition import BodyPart
from models.contract.note import Note
from models.contract.vocabulary import EventName, Handedness, RepetitionKind, View

SCHEMA_ID: Final = "https://servewright.example/schemas/comparison.v2.json"
SCHEMA_ID_V1: Final = SCHEMA_BASE + "comparison.v1.json"


class Verdict(StrEnum):
    """What may be said about one difference."""

    CHANGED = "changed"
    WITHIN_NOISE = "within_noise"
    NOT_COMPARABLE = "not_comparable"


class GroupSummary(Document):
    """Mean of one metric over the repetitions of one side, with its 95 % interval."""

    value: Finite
    low: Finite
    high: Finite
    repetitions: int = Field(ge=1)
    spread: Finite | None = Field(
        default=None, description="Standard deviation between repetitions; null for one."
    )


class MetricDifference(Document):
    """Second side minus first side, in the metric's own unit."""

    key: str
    title: str
    event: EventName | None
    unit: str
    first: GroupSummary | None
    second: GroupSummary | None
    difference: Finite | None
    low: Finite | None = Field(description="95 % interval of the difference.")
    high: Finite | None
    typical_error: Finite | None = Field(description="Standard error of one value, same unit.")
    mdc95: Finite | None = Field(description="Least change that is not noise, 95 %.")
    detectable: Finite | None = Field(
        default=None,
        description="Least true change that nine of ten such comparisons would call changed, with "
        "the correction for many metrics: a smaller one may go unseen. Null where not known.",
    )
    p_value: Share | None = Field(
        default=None,
        description="Two-sided, after Holm's correction over all metrics compared; half of the "
        "risk of a false alarm goes to the focus, where one is named.",
    )
    focus: bool = Field(default=False, description="It was named as what was worked on.")
    verdict: Verdict
    reason: Note | None = Field(default=None, description="Why the two are not comparable.")


MetricName = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9_]{0,60}(@[a-z_]{1,30})?$")]
"""A metric by its key at all its events, or at one: ``elbow_flexion@contact``."""


class LinkedChange(Document):
    """Changed metrics that belong together."""

    part: BodyPart
    keys: tuple[str, ...]
    correlation: Finite | None = Field(
        default=None,
        description="Mean absolute rank correlation between repetitions; null below 5 of them.",
    )


class ComparisonSide(Document):
    """Where one side's values come from."""

    label: str
    analyses: tuple[str, ...] = Field(description="Analysis ids; file names on the command line.")
    repetitions: int = Field(ge=0)
    views: tuple[View, ...]
    handedness: Handedness
    frame_rate_low: Finite | None = None


class MatchedEvent(Document):
    """The same instant in one repetition of each side."""

    event: EventName
    first_time_s: Finite
    second_time_s: Finite


class Comparison(Document):
    """Every metric of two sides, and what may be said of it."""

    schema_id: Annotated[
        Literal["https://servewright.example/schemas/comparison.v2.json"],
        or_earlier(SCHEMA_ID, SCHEMA_ID_V1),
    ] = Field(
        default=SCHEMA_ID,
        alias="schema",
        description="Says the version. In documents of `comparison.v1.json` "
        "reasons, notes and cautions are bare sentences.",
    )
    kind: RepetitionKind
    first: ComparisonSide
    second: ComparisonSide
    mirrored: bool = Field(description="One side was mirrored because the hands differ.")
    shared_errors_dropped: bool = Field(
        default=False,
        description="One player from one camera place: errors that both films share drop out.",
    )
    focus: tuple[MetricName, ...] = Field(
        default=(), description="What was worked on, as it was named in the request."
    )
    differences: tuple[MetricDifference, ...]
    linked: tuple[LinkedChange, ...] = ()
    matched_events: tuple[MatchedEvent, ...] = ()
    notes: tuple[Note, ...] = ()
    engine_version: str
    cautions: tuple[Note, ...] = CAUTIONS
