"""Comparison of two groups of repetitions: before/after, player/model, practice/match."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated, Final, Literal

from pydantic import Field, StringConstraints

from models.contract.analysis import CAUTIONS
from models.contract.base import SCHEMA_BASE, Document, Finite, Share, or_earlier
from models.contract.metrics.definition import BodyPart
from models.contract.note import Note
from models.contract.vocabulary import EventName, Handedness, RepetitionKind, Role, View

SCHEMA_ID: Final = "https://servewright.example/schemas/comparison.v3.json"
SCHEMA_ID_V1: Final = SCHEMA_BASE + "comparison.v1.json"
SCHEMA_ID_V2: Final = SCHEMA_BASE + "comparison.v2.json"


class Verdict(StrEnum):
    """What may be said about one difference."""

    SURELY_CHANGED = "surely_changed"
    PROBABLY_CHANGED = "probably_changed"
    NO_CHANGE_SEEN = "no_change_seen"
    CANNOT_TELL = "cannot_tell"

    @classmethod
    def _missing_(cls, value: object) -> Verdict | None:
        """Read the verdicts of versions 1 and 2."""
        return {
            "changed": cls.SURELY_CHANGED,
            "within_noise": cls.NO_CHANGE_SEEN,
            "not_comparable": cls.CANNOT_TELL,
        }.get(value if isinstance(value, str) else "")


class Direction(StrEnum):
    """Which way a change went, by the goal of the practice rules."""

    TOWARDS = "towards_goal"
    AWAY = "away_from_goal"


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
    """Second side minus first side, in the metric's own unit.

    Between films of one place what films are known to show less of is undone (`Metric`,
    ``usual_shown_share``), so that it may be larger than the difference of the two sides.
    """

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
    mdc95: Finite | None = Field(
        description="Least difference that is probably a change: beyond this value's own noise, "
        "95 %. Null where nothing can be told."
    )
    threshold: Finite | None = Field(
        default=None,
        description="Least difference that is surely a change, with the correction for many "
        "metrics: it decides. Null where nothing can be told, in shares of yes and no, and in "
        "documents before `comparison.v3.json`.",
    )
    detectable: Finite | None = Field(
        default=None,
        description="Least true change that nine of ten such comparisons would call surely "
        "changed, with the correction for many metrics: a smaller one may go unseen. Null where "
        "not known, or beyond what is possible.",
    )
    p_value: Share | None = Field(
        default=None,
        description="Two-sided, after Holm's correction over all metrics compared; half of the "
        "risk of a false alarm goes to the focus, where one is named.",
    )
    focus: bool = Field(default=False, description="It was named as what was worked on.")
    verdict: Verdict
    direction: Direction | None = Field(
        default=None,
        description="Of a sure or probable change of what the practice rules have a goal for.",
    )
    judged_with: str | None = Field(
        default=None,
        description="Another reading of the same movement that speaks for it: key@event.",
    )
    reason: Note | None = Field(default=None, description="Why nothing can be told.")


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
    role: Role = Field(
        default=Role.PLAYER, description="model: what the other side is held against."
    )
    frame_rate_low: Finite | None = None


class MatchedEvent(Document):
    """The same instant in one repetition of each side."""

    event: EventName
    first_time_s: Finite
    second_time_s: Finite


class Comparison(Document):
    """Every metric of two sides, and what may be said of it."""

    schema_id: Annotated[
        Literal["https://servewright.example/schemas/comparison.v3.json"],
        or_earlier(SCHEMA_ID, SCHEMA_ID_V1, SCHEMA_ID_V2),
    ] = Field(
        default=SCHEMA_ID,
        alias="schema",
        description="Says the version. In documents of `comparison.v1.json` "
        "reasons, notes and cautions are bare sentences; before `comparison.v3.json` the verdicts "
        "were `changed`, `within_noise` and `not_comparable`, which are read as `surely_changed`, "
        "`no_change_seen` and `cannot_tell`.",
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
